"""When a kit has to leave the fridge, in every zone of the list and around its clock changes: against a scan of minutes.

The scan knows nothing of spans: it reads the local clock minute by minute, and the hours as sets of minutes of a day.
Clock times that are skipped or come twice are meant as docs/rules/warmup.md says: the first instant that shows or
passes them.
"""

from bisect import bisect_left
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import accumulate
from zoneinfo import ZoneInfo, available_timezones

from diary_cases import CK, HOUR, kit
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stockroom.core.opening import DayException, Opening
from stockroom.core.practice import Closure, Site
from stockroom.core.takeout import Habits, ready_at, take_out, use_by

ZONES = sorted(z for z in available_timezones() if z not in ("localtime", "Factory"))
DAYS_BACK = 4
"""How many days before a booking the scan looks at."""


def offset(zone: ZoneInfo, at: int) -> timedelta:
    found = datetime.fromtimestamp(at, zone).utcoffset()
    assert found is not None
    return found


@cache
def changes_of(name: str) -> list[date]:
    """The days on which the zone's clocks changed, 1990 to 2037, or one day where they never did."""
    zone, found = ZoneInfo(name), []
    first = int(datetime(1990, 1, 1, tzinfo=UTC).timestamp())
    for at in range(first, first + 48 * 365 * 86_400, 7 * 86_400):
        if offset(zone, at) != offset(zone, at + 7 * 86_400):
            day = next(d for d in range(7) if offset(zone, at + d * 86_400) != offset(zone, at + (d + 1) * 86_400))
            found.append(datetime.fromtimestamp(at + day * 86_400, UTC).date())
    return found or [date(2026, 3, 29)]


half = st.integers(0, 9) | st.integers(0, 48)
"""Half hours of a day, more of them by night, when clocks change."""
hours_of_a_day = st.lists(half, min_size=2, max_size=6, unique=True).map(
    lambda halves: tuple((a * 30, b * 30) for a, b in zip(sorted(halves)[::2], sorted(halves)[1::2], strict=False))
)
weeks = st.tuples(*[hours_of_a_day] * 7)
edges = st.builds(
    lambda h, off: min(1439, max(0, 30 * h + off)), half, st.sampled_from([0, -1, 1, -15, -14, 14, 15, 16])
)
"""Minutes at and around half hours: the warm-up is whole hours, so that most moments lie at and around ends of spans."""


@st.composite
def days(draw) -> tuple[str, date]:
    """A zone, and a day within a few of one on which its clocks changed."""
    name = draw(st.sampled_from(ZONES))
    return name, draw(st.sampled_from(changes_of(name))) + timedelta(days=draw(st.integers(-2, 4)))


@given(days(), st.integers(0, 1440 * 60), st.integers(1, 60), st.integers(0, 71))
@settings(max_examples=80, deadline=None)
def test_warm_up_and_use_by_are_elapsed_time(where, second, hours, out_before):
    """Law: ready_at - pulled_at is warmup_hours to the second; all hours out, earlier ones too, are 72."""
    name, day = where
    at = Opening(name, Site("", ((),) * 7)).midnight(day) + second
    product = replace(CK, warmup_seconds=hours * HOUR)
    out = kit(1, "2026-03-01T00:00", pulled_at=at, out_before=out_before * HOUR, expiry_end=None)
    clock = [datetime.fromtimestamp(t, ZoneInfo(name)).astimezone(UTC) for t in (at, ready_at(out, product))]
    assert clock[1] - clock[0] == timedelta(hours=hours)
    assert use_by(out, product) - at + out_before * HOUR == 72 * HOUR
    assert use_by(kit(1, "2026-03-01T00:00", pulled_at=at, expiry_end=at + HOUR), product) == at + HOUR


class Scan:
    """Minute instants of some days, what the clock has reached at each, and which of them lie inside staffed time."""

    def __init__(self, opening: Opening, last: date) -> None:
        zone = ZoneInfo(opening.zone_name)
        noon = int(datetime(last.year, last.month, last.day, 12, tzinfo=UTC).timestamp())
        self.minutes = range(noon - (DAYS_BACK + 2) * 86_400, noon + 2 * 86_400, 60)
        clock = (datetime.fromtimestamp(at, zone).replace(tzinfo=None) for at in self.minutes)
        self.reached = list(accumulate(clock, max))
        """Clocks that go back come to a time that was reached before: the first instant counts."""
        staffed = [False] * len(self.minutes)
        for n in range(-DAYS_BACK - 1, 3):
            day = last + timedelta(days=n)
            for minute in minutes_staffed(opening, day):
                a, b = self.first(day, minute), self.first(day, minute + 1)
                staffed[a:b] = [True] * (b - a)
        self.staffed = list(accumulate(staffed, lambda sum_, x: sum_ + x, initial=0))
        """How many minutes before each are staffed."""

    def first(self, day: date, minute: int) -> int:
        """The position of the first minute at which the clock has reached a time of a day."""
        return bisect_left(self.reached, datetime(day.year, day.month, day.day) + timedelta(minutes=minute))

    def inside(self, position: int, margin: int) -> bool:
        """True where every minute within the margin is staffed; without a margin both ends of a span count."""
        if not margin:
            return self.staffed[position + 1] - self.staffed[position - 1] > 0
        return self.staffed[position + margin] - self.staffed[position - margin] == 2 * margin


def minutes_staffed(opening: Opening, day: date) -> set[int]:
    """The day's hours, then closures, then exceptions in their order, minute by minute."""
    closed = any(c.first <= day <= c.last for c in opening.site.closed)
    found = set() if closed else {m for a, b in opening.site.hours[day.weekday()] for m in range(a, b)}
    for e in sorted((e for e in opening.exceptions if e.day == day), key=lambda e: e.seq):
        part = set(range(e.from_minute, e.to_minute))
        found = found | part if e.open else found - part
    return found


@given(
    where=days(),
    hours=weeks,
    odd=st.lists(st.tuples(st.integers(-3, 0), st.booleans(), half, st.integers(1, 20)), max_size=4),
    closed=st.none() | st.tuples(st.integers(-4, 0), st.integers(0, 2)),
    minute=edges,
    warmup=st.integers(1, 48),
    margin=st.sampled_from([0, 1, 15, 15, 40]),
    rounds=st.just(()) | st.lists(half.map(lambda h: 30 * h), min_size=1, max_size=3).map(tuple),
)
@example(
    ("Europe/Lisbon", date(2026, 3, 30)), (((540, 960),),) * 7, [], None, 600, 12, 15, (960,)
)  # a round at closing
@example(("Europe/Lisbon", date(2026, 3, 29)), (((0, 90),),) * 7, [], None, 600, 4, 0, ())  # 01:00 to 02:00 is skipped
@example(("Europe/Lisbon", date(2026, 10, 25)), (((0, 90),),) * 7, [], None, 600, 9, 0, ())  # and comes twice
@settings(max_examples=70, deadline=None)
def test_take_out_staffed_by_is_the_latest_staffed_minute(where, hours, odd, closed, minute, warmup, margin, rounds):
    """Brute force: it is staffed with its margin, or a round at which somebody is there, and no later one is."""
    name, day = where
    shut = () if closed is None else (Closure(day + timedelta(closed[0]), day + timedelta(closed[0] + closed[1])),)
    exceptions = tuple(
        DayException(day + timedelta(days=n), is_open, 30 * a, min(1440, 30 * (a + length)), seq=seq)
        for seq, (n, is_open, a, length) in enumerate(odd)
    )
    opening = Opening(name, Site("", hours, shut), exceptions)
    start = opening.at(day, minute)
    times = take_out(start, start + 6300, warmup * HOUR, 72 * HOUR, opening, Habits(60 * margin, rounds))
    assert (times.by, times.not_before) == (start - warmup * HOUR, start + 6300 - 72 * HOUR)
    scan = Scan(opening, day)
    by = (times.by - scan.minutes[0]) // 60
    oldest = by - (DAYS_BACK - 2) * 1440  # the scan knows four days before the booking, the warm-up is two at most
    if rounds:
        known = {scan.first(day + timedelta(days=n), r) for n in range(-DAYS_BACK, 2) for r in rounds}
        good = [p for p in sorted(known, reverse=True) if oldest <= p <= by and scan.inside(p, 0)]
    else:
        good = [p for p in range(by, oldest, -1) if scan.inside(p, margin)][:1]
    found = times.staffed_by
    if good:
        assert found == scan.minutes[good[0]]
    else:
        assert found is None or found <= scan.minutes[oldest]
