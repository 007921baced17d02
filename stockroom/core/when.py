"""What people type for a day or an instant, read in the practice's time zone; and both written for people.

Read are ISO 8601 (an offset is honoured), ``HH:MM`` (today), day names with or without a time, and whatever
python-dateutil can read in one way only. What it could read in two ways is refused with both readings named:
3/4/2026 is in April for some and in March for others. So is a clock time that a clock change skips or doubles.
Instants are whole seconds UTC; parts of a second are cut off.
"""

import re
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import NoReturn
from zoneinfo import ZoneInfo

from stockroom.core.practice import WEEKDAYS
from stockroom.errors import Refused

FIRST_YEAR, LAST_YEAR = 1990, 2100
LONGEST = 64
"""Characters: no instant is longer, and the loose reader is slow on long texts."""
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
HOW = "type it like 2026-03-13, 2026-03-13T10:00, 10:00, mon or mon 10:00"

_NEAR = {"yesterday": -1, "today": 0, "tomorrow": 1}
_LONG = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_WEEKDAY = {
    **{name: number for names in (WEEKDAYS, _LONG) for number, name in enumerate(names)},
    "tues": 1,
    "weds": 2,
    "thur": 3,
    "thurs": 3,
}
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")
_ISO_BEGINS = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{8}(?![0-9])|[0-9]{4}-?W")
_ISO = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{8}|[0-9]{4}-?W[0-9]{2}-?[0-9])"
    r"(?:(?:T| +)([0-9]{2}|[0-9](?=:))(?::?([0-9]{2})(?::?([0-9]{2})(?:[.,][0-9]+)?)?)?"
    r" *(Z|[+-][0-9]{2}(?::?[0-9]{2})?)?)?"
)
_BASES = (datetime(2000, 1, 1, 0), datetime(2004, 3, 2, 1))  # noqa: DTZ001 (no instants: what a text leaves out)
"""Two dates that differ in year, month, day and hour: what is not the same after both was not in the text. Both
stand in leap years and in months of 31 days, so that no day is lost."""


@dataclass(frozen=True, slots=True)
class _Said:
    """What a text says: local day, seconds since midnight, seconds east of UTC; None for what it leaves out."""

    day: date | None = None
    second: int | None = None
    offset: int | None = None


@dataclass(frozen=True, slots=True)
class _Reading:
    """One way in which the loose reader takes a text; None for what it leaves out."""

    year: int | None
    month: int | None
    day: int | None
    second: int | None
    offset: int | None


def instant(text: str, zone: ZoneInfo, now: int, *, end_of_day: bool = False, past: bool = False) -> int:
    """The instant that a text means in a zone.

    A day without a time is its first instant, or with ``end_of_day`` its last second. A day name is the next such
    day, today included, or with ``past`` the latest one.
    Raises: Refused (bad-time, ambiguous-time, clock-change).
    """
    if text.strip().casefold() == "now":
        return now
    today = datetime.fromtimestamp(now, zone).date()
    said = _said(text, today, past)
    on = said.day or today
    if said.second is None:
        return _first_instant(on + timedelta(1), zone) - 1 if end_of_day else _first_instant(on, zone)
    wall = datetime(on.year, on.month, on.day, tzinfo=UTC) + timedelta(seconds=said.second)
    return _on_the_clock(wall, zone) if said.offset is None else int(wall.timestamp()) - said.offset


def day(text: str, zone: ZoneInfo, now: int, *, past: bool = False) -> date:
    """The local day that a text means; of an instant, the day on which it falls in the zone.

    Raises: Refused (bad-time, ambiguous-time, clock-change), also for a time of day alone.
    """
    today = datetime.fromtimestamp(now, zone).date()
    if text.strip().casefold() == "now":
        return today
    said = _said(text, today, past)
    if said.day is None:
        raise Refused("bad-time", f'"{_quoted(text)}" is a time of day, and a day is wanted', "type it like 2026-03-13")
    if said.offset is None:
        return said.day
    return datetime.fromtimestamp(instant(text, zone, now, past=past), zone).date()


def utc_text(at: int) -> str:
    """An instant as ``2026-03-02T08:10:00Z``."""
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def day_text(on: date) -> str:
    """A day as ``Mon 2 Mar 2026``."""
    return f"{WEEKDAYS[on.weekday()].capitalize()} {on.day} {MONTHS[on.month - 1]} {on.year}"


def local_text(at: int, zone: ZoneInfo, now: int | None = None) -> str:
    """An instant for people: ``Mon 2 Mar 09:10``, with the year unless it is that of ``now``.

    A clock time that a clock change doubles carries its offset.
    """
    local = datetime.fromtimestamp(at, zone)
    on = day_text(local.date())
    if now is not None and datetime.fromtimestamp(now, zone).year == local.year:
        on = on.rsplit(" ", 1)[0]
    doubled = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return f"{on} {local:%H:%M}" + (f" ({local.isoformat()[-6:]})" if doubled else "")


def _said(text: str, today: date, past: bool) -> _Said:
    """What a text says, by the first of the three ways that knows it."""
    clean = text.strip()
    if not clean or len(clean) > LONGEST or not (clean.isascii() and clean.isprintable()):
        _unreadable(text)
    said = _by_name(clean, today, past)
    if said is None:
        said = _iso(clean) if _ISO_BEGINS.match(clean.upper()) else _loose(clean, today, past)
    if said.day and not FIRST_YEAR <= said.day.year <= LAST_YEAR:
        raise Refused("bad-time", f"{_quoted(text)} is not between {FIRST_YEAR} and {LAST_YEAR}", "check the year")
    return said


def _by_name(text: str, today: date, past: bool) -> _Said | None:
    """``mon``, ``tomorrow``, ``9:00``, ``mon 09:00``, ``09:00 mon``; None for anything else."""
    said = _Said()
    for word in text.casefold().replace(",", " ").split():
        clock = _CLOCK.fullmatch(word)
        if said.day is None and (word in _NEAR or word in _WEEKDAY):
            said = replace(said, day=_called(word, today, past))
        elif said.second is None and clock:
            said = replace(said, second=_seconds(text, *clock.groups()))
        else:
            return None
    return said


def _called(word: str, today: date, past: bool) -> date:
    """The day of that name: near today, or the weekday from today on (``past``: up to today)."""
    if word in _NEAR:
        return today + timedelta(_NEAR[word])
    ahead = (_WEEKDAY[word] - today.weekday()) % 7
    return today + timedelta(ahead - 7 if past and ahead else ahead)


def _seconds(text: str, hour: str, minute: str | None, second: str | None) -> int:
    """Seconds since midnight."""
    parts = int(hour), int(minute or 0), int(second or 0)
    if parts[0] > 23 or parts[1] > 59 or parts[2] > 59:
        raise Refused("bad-time", f'"{_quoted(text)}" has no time of day from 00:00 to 23:59', HOW)
    return parts[0] * 3600 + parts[1] * 60 + parts[2]


def _iso(text: str) -> _Said:
    """ISO 8601: a day, or a day and a time, with or without an offset."""
    found = _ISO.fullmatch(text.upper())
    if not found:
        _unreadable(text)
    try:
        on = date.fromisoformat(found[1])
    except ValueError:
        raise Refused("bad-time", f'there is no such day as "{found[1]}"', HOW) from None
    second = None if found[2] is None else _seconds(text, found[2], found[3], found[4])
    if found[5] is None:
        return _Said(on, second)
    digits = found[5].replace(":", "").replace("Z", "+00")[1:].ljust(4, "0")
    east = int(digits[:2]) * 3600 + int(digits[2:]) * 60
    if east > 14 * 3600 or int(digits[2:]) > 59:
        raise Refused("bad-time", f'"{_quoted(text)}" has no offset from -14:00 to +14:00', HOW)
    return _Said(on, second, -east if found[5][0] == "-" else east)


def _loose(text: str, today: date, past: bool) -> _Said:
    """What python-dateutil can read in one way only; day names are taken out first, for it overlooks them."""
    names = [word for word in re.findall("[a-z]+", text.casefold()) if word in _NEAR or word in _WEEKDAY]
    rest = re.sub("[A-Za-z]+", lambda word: "" if word[0].casefold() in names else word[0], text).strip(" ,")
    if rest == text and re.fullmatch("[0-9]{1,2}", rest) and 0 < int(rest) < 24:
        _two_ways(text, _Said(today.replace(day=int(rest))), _Said(None, int(rest) * 3600))
    readings = _readings(rest) if len(names) < 2 else []
    if not readings:
        _unreadable(text)
    only = readings[0] if len(readings) == 1 else None
    if only and only.year is only.month is only.day is None:
        on = _called(names[0], today, past) if names else None
        return _Said(on, only.second, only.offset)
    each = [_completed(reading, today, names) for reading in readings]
    meant = each[0] if only else [said[0] for said in each if said]
    if len(meant) > 1:
        _two_ways(text, *meant[:2])
    if not meant or not meant[0].day or (only and only.year and str(only.year) not in text):
        raise Refused("bad-time", f'"{_quoted(text)}" leaves out a part of the day or of the year', HOW)
    on = meant[0].day
    if names and _called(names[0], today if names[0] in _NEAR else on, past) != on:
        raise Refused("bad-time", f'"{_quoted(text)}" contradicts itself: that day is {day_text(on)}', HOW)
    return meant[0]


def _readings(text: str) -> list[_Reading]:
    """Every way in which python-dateutil takes a text, day first or month first, year first or last."""
    from dateutil.parser import parse

    if re.search(r"(?<![0-9.:])[0-9]+[.][0-9]+(?![0-9.])", text) or re.search("(?i)(UTC|GMT|Z) *[+-]", text):
        return []  # it drops the minutes of 9.30 am, and takes GMT+3 for three hours behind
    found: list[_Reading] = []
    for day_first, year_first in ((True, False), (False, False), (False, True), (True, True)):
        try:
            one, other = (
                parse(text, default=base, dayfirst=day_first, yearfirst=year_first, tzinfos=_offset) for base in _BASES
            )
        except (ValueError, ArithmeticError, TypeError, LookupError, AttributeError):
            continue  # its ways to say that it cannot read a text
        east = one.utcoffset()
        found.append(
            _Reading(
                one.year if one.year == other.year else None,
                one.month if one.month == other.month else None,
                one.day if one.day == other.day else None,
                one.hour * 3600 + one.minute * 60 + one.second if one.hour == other.hour else None,
                None if east is None else int(east.total_seconds()),
            )
        )
    return list(dict.fromkeys(found))


def _offset(name: str | None, seconds: int | None) -> timezone | None:
    """The offset in a text; a name of a zone is refused, for it is read differently everywhere."""
    if name and name.upper() not in ("UTC", "GMT", "Z"):
        raise Refused("bad-time", f'"{name}" is not read as a time zone', "give the offset: 2026-03-13T10:00+01:00")
    return timezone(timedelta(seconds=seconds or 0)) if name or seconds is not None else None


def _completed(reading: _Reading, today: date, names: list[str]) -> list[_Said]:
    """The days that a reading may mean: without a year the two nearest, or the one with the weekday that was named."""
    if reading.month is None or reading.day is None:
        return []
    years = (today.year, today.year + 1, today.year - 1) if reading.year is None else (reading.year,)
    days = []
    for year in years:
        try:
            days.append(date(year, reading.month, reading.day))
        except ValueError:
            continue  # 29 February
    if reading.year is None:
        named = _WEEKDAY.get(names[0]) if names else None
        days = [on for on in days if named is None or on.weekday() == named]
        days = sorted(days, key=lambda on: abs(on - today))[:2]
    return [_Said(on, reading.second, reading.offset) for on in days]


def _two_ways(text: str, one: _Said, other: _Said) -> NoReturn:
    """The refusal of a text with two readings, naming both."""
    shown = [day_text(said.day) if said.day else f"{_typed(said)} today" for said in (one, other)]
    raise Refused(
        "ambiguous-time",
        f'"{_quoted(text)}" could be {shown[0]} or {shown[1]}',
        f"type {_typed(one)} or {_typed(other)}",
    )


def _typed(said: _Said) -> str:
    """How to type it so that there is no doubt."""
    clock = "" if said.second is None else f"{said.second // 3600:02}:{said.second // 60 % 60:02}"
    return "T".join(part for part in (said.day.isoformat() if said.day else "", clock) if part)


def _unreadable(text: str) -> NoReturn:
    """The refusal of a text without any reading."""
    raise Refused("bad-time", f'"{_quoted(text)}" cannot be read as a day or a time', HOW)


def _quoted(text: str) -> str:
    """What was typed, fit for a message."""
    safe = "".join(c if c.isprintable() else "?" for c in text.strip())
    return safe if len(safe) <= LONGEST else safe[: LONGEST - 1] + "…"


def _on_the_clock(wall: datetime, zone: ZoneInfo) -> int:
    """The instant at which the clocks of a zone show ``wall`` (whose own zone means nothing).

    Raises: Refused (clock-change) where they never do or do so twice.
    """
    early, late = (int(wall.replace(tzinfo=zone, fold=fold).timestamp()) for fold in (0, 1))
    if early == late:
        return early
    clock, on = f"{wall:%H:%M}", day_text(wall.date())
    if early < late:
        first, second = (datetime.fromtimestamp(at, zone).isoformat(timespec="minutes") for at in (early, late))
        raise Refused(
            "clock-change",
            f"{clock} comes twice on {on}, when the clocks go back",
            f"type {first} for the first time or {second} for the second",
        )
    begins = datetime.fromtimestamp(_change(zone, late, early), zone)
    raise Refused(
        "clock-change",
        f"{clock} does not exist on {on}, when the clocks go forward",
        f"the first time after it that exists is {begins:%Y-%m-%dT%H:%M}",
    )


def _first_instant(on: date, zone: ZoneInfo) -> int:
    """The first instant of a local day, also where a clock change skips or doubles its midnight."""
    midnight = datetime(on.year, on.month, on.day, tzinfo=zone)
    early, late = int(midnight.timestamp()), int(midnight.replace(fold=1).timestamp())
    return early if early <= late else _change(zone, late, early)


def _change(zone: ZoneInfo, before: int, after: int) -> int:
    """The first second of the new offset, which lies after ``before`` and at or before ``after``; by bisection."""
    new = datetime.fromtimestamp(after, zone).utcoffset()
    while after - before > 1:
        middle = (before + after) // 2
        if datetime.fromtimestamp(middle, zone).utcoffset() == new:
            after = middle
        else:
            before = middle
    return after
