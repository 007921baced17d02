"""Whole calendar files against a second implementation: python-dateutil's rrule with zoneinfo, on random rules.

The reference lists clock times; to that are applied here, from RFC 5545 (published): skipped clock times are no
instances and are not counted (3.3.10), of doubled ones the first stands (3.3.5), the first instance always counts
(3.8.5.3), COUNT counts it, UNTIL is the last instant (3.3.10), EXDATE takes out what it equals (3.8.5.1).
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from dateutil import rrule as other
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from stockroom.core.recurrence import repeated
from stockroom.formats.calendar_events import read_calendar
from stockroom.formats.calendar_moments import Horizon
from stockroom.formats.calendar_rules import rule_of
from stockroom.formats.calendar_words import Words

DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
ZONES = (
    "Europe/Amsterdam", "Europe/Dublin", "America/New_York", "America/St_Johns", "Australia/Sydney",
    "Australia/Lord_Howe", "Pacific/Chatham", "Africa/Casablanca", "Asia/Kolkata", "UTC",
)  # fmt: skip
FIRST = 1_769_900_000  # 31 January 2026: before a clock change on either half of the globe


@dataclass(frozen=True)
class Told:
    """A rule as a calendar writes it, and as the other implementation takes it."""

    text: str
    other: dict[str, Any]


def numbers(low: int, high: int, most: int) -> st.SearchStrategy[list[int]]:
    return st.lists(st.integers(low, high).filter(bool), min_size=1, max_size=most, unique=True)


@st.composite
def rules(draw: st.DrawFn) -> Told:
    every = draw(st.sampled_from(["DAILY", "WEEKLY", "MONTHLY", "YEARLY"]))
    parts, told = [f"FREQ={every}"], dict[str, Any](freq=getattr(other, every))

    def also(name: str, key: str, values: list[int]) -> None:
        parts.append(f"{name}={','.join(map(str, values))}")
        told[key] = values

    if draw(st.booleans()):
        told["interval"] = draw(st.integers(1, 6))
        parts.append(f"INTERVAL={told['interval']}")
    if draw(st.integers(0, 2)) == 0:
        also("BYMONTH", "bymonth", draw(numbers(1, 12, 5)))
    if every != "WEEKLY" and draw(st.integers(0, 2)) == 0:
        also("BYMONTHDAY", "bymonthday", draw(numbers(-31, 31, 6)))
    if every == "YEARLY" and draw(st.integers(0, 3)) == 0:
        also("BYYEARDAY", "byyearday", draw(numbers(-366, 366, 12)))
    if draw(st.booleans()):
        days = draw(st.lists(st.integers(0, 6), min_size=1, max_size=5, unique=True))
        # Not mixed with plain ones: the other implementation joins the two, against the standard.
        if every in ("MONTHLY", "YEARLY") and draw(st.booleans()):
            top = 5 if every == "MONTHLY" or "bymonth" in told else 53
            counted = [(draw(st.integers(-top, top).filter(bool)), d) for d in days]
            parts.append("BYDAY=" + ",".join(f"{n}{DAYS[d]}" for n, d in counted))
            told["byweekday"] = [other.weekday(d, n) for n, d in counted]
        else:
            parts.append("BYDAY=" + ",".join(DAYS[d] for d in days))
            told["byweekday"] = days
    if draw(st.integers(0, 3)) == 0:
        also("BYHOUR", "byhour", draw(st.lists(st.integers(0, 23), min_size=1, max_size=3, unique=True)))
        if draw(st.booleans()):
            also(
                "BYMINUTE",
                "byminute",
                draw(st.lists(st.sampled_from([0, 15, 50]), min_size=1, max_size=2, unique=True)),
            )
    # In the first week the other implementation counts places from the first day on.
    if every != "WEEKLY" and draw(st.integers(0, 2)) == 0:
        also(
            "BYSETPOS",
            "bysetpos",
            draw(st.lists(st.sampled_from([1, 2, 3, -1, -2]), min_size=1, max_size=2, unique=True)),
        )
    if draw(st.booleans()):
        told["wkst"] = draw(st.integers(0, 6))
        parts.append(f"WKST={DAYS[told['wkst']]}")
    return Told(";".join(parts), told)


def shows(wall: datetime, zone: ZoneInfo) -> bool:
    return wall.replace(tzinfo=zone).astimezone(UTC).astimezone(zone).replace(tzinfo=None) == wall


def stamp(at: int) -> str:
    return datetime.fromtimestamp(at, UTC).strftime("%Y%m%dT%H%M%SZ")


@settings(max_examples=250, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    rules(), st.sampled_from(ZONES), st.integers(-400, 200), st.sampled_from([0, 90, 120, 150, 600, 1410]),
    st.sampled_from(["count", "until", "until by the clock", "ever"]), st.integers(1, 40), st.sets(st.integers(0, 60), max_size=3),
)  # fmt: skip
def test_a_file_gives_the_instants_that_the_other_implementation_gives(
    rule: Told, name: str, day: int, minute: int, ends: str, number: int, without: set[int]
) -> None:
    zone, horizon = ZoneInfo(name), Horizon(FIRST, FIRST + 210 * 86_400)
    begun = datetime(2026, 1, 31) + timedelta(days=day, minutes=minute)
    assume(shows(begun, zone))
    last = datetime(2026, 9, 3)
    # Of what never comes again the other one would look on to the year 9999, which takes seconds.
    again = repeated(rule_of(rule.text, begun.time()).rule, begun, last.date(), date(2046, 1, 1))
    assume(any(wall > last for wall in again))
    walls = list(other.rrule(dtstart=begun, until=max(last, begun), **rule.other))
    assume(walls)

    def instant(wall: datetime) -> int:
        return int(wall.replace(tzinfo=zone, fold=0).timestamp())

    found, text = [instant(w) for w in walls if w != begun and shows(w, zone)], rule.text
    if ends == "count":
        found, text = found[: number - 1], f"{text};COUNT={number}"
    elif ends == "until":
        until = (found or [instant(begun)])[number % max(1, len(found))] + (number % 3 - 1)
        found, text = [at for at in found if at <= until], f"{text};UNTIL={stamp(until)}"
    elif ends == "until by the clock":
        wall = walls[number % len(walls)]
        assume(shows(wall, zone))
        found, text = [at for at in found if at <= instant(wall)], f"{text};UNTIL={wall:%Y%m%dT%H%M%S}"
    expected = sorted({instant(begun), *found})
    gone = [expected[i] for i in without if i < len(expected)]
    lines = "".join(f"EXDATE:{stamp(at)}\r\n" for at in gone)
    data = (
        f"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:u\r\nDTSTART;TZID={name}:{begun:%Y%m%dT%H%M%S}\r\nSUMMARY:w P-1\r\n"
        f"RRULE:{text}\r\n{lines}END:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    got = read_calendar(data.encode(), "x", zone=ZoneInfo("UTC"), words=Words({"w": "w"}, "P-[0-9]+"), horizon=horizon)
    assert got.rejected == ()
    assert [r.start for r in got.rows] == [a for a in expected if a not in gone and horizon.first <= a <= horizon.last]
