"""What a calendar file writes for a time and for a repetition -> values (published: RFC 5545, 3.3.5 and 3.3.10)."""

import re
from dataclasses import dataclass
from datetime import datetime, time
from itertools import product

from stockroom.core.recurrence import DAILY, MONTHLY, WEEKLY, YEARLY, Rule
from stockroom.formats.date_order import FIRST_YEAR, LAST_YEAR
from stockroom.formats.table_text import shown

DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
MOST_TIMES = 24
"""Times of a day at which one event may repeat; more of them is no diary."""
_STAMP = re.compile(r"([0-9]{8})(?:T([0-9]{6})(Z)?)?")


class RuleFault(Exception):
    """Why a time or a rule cannot be read; its text is for a person."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """A written time: its clock time, whether that is UTC, and whether it is a day without a time."""

    wall: datetime
    utc: bool = False
    day: bool = False


@dataclass(frozen=True, slots=True)
class Repeats:
    """A rule, and how often or until when it repeats."""

    rule: Rule
    count: int | None = None
    until: Stamp | None = None


def stamp_of(text: str, *, any_year: bool = False) -> Stamp:
    """A DATE-TIME or a DATE. Raises: RuleFault."""
    match = _STAMP.fullmatch(text.strip())
    wall = None
    if match is not None:
        try:
            wall = datetime.strptime(match[1] + (match[2] or "000000"), "%Y%m%d%H%M%S")  # noqa: DTZ007 (a clock's face)
        except ValueError:
            wall = None
    if match is None or wall is None:
        raise RuleFault(f"{shown(text)} is not a time")
    if not any_year and not FIRST_YEAR <= wall.year <= LAST_YEAR:
        raise RuleFault(f"{shown(text)} does not lie between {FIRST_YEAR} and {LAST_YEAR}")
    return Stamp(wall, match[3] is not None, match[2] is None)


def rule_of(text: str, start: time = time(0)) -> Repeats:
    """An RRULE; the minutes that BYHOUR leaves out are those of ``start``. Raises: RuleFault where it cannot be read, or is no rule for a diary."""
    given: dict[str, str] = {}
    for part in text.strip().strip(";").split(";"):
        name, mark, value = part.partition("=")
        name = name.strip().upper()
        if not mark or name in given:
            raise RuleFault(f"the rule {shown(text)} cannot be read")
        given[name] = value.strip().upper()
    every = given.pop("FREQ", "")
    if every not in (DAILY, WEEKLY, MONTHLY, YEARLY):
        raise RuleFault(f"FREQ={every[:20]} is no rule for a diary" if every.isalpha() else "its rule has no FREQ")
    if "COUNT" in given and "UNTIL" in given:
        raise RuleFault("its rule has both COUNT and UNTIL")
    days = tuple(_weekday(d, every, text) for d in given.pop("BYDAY", "").split(",") if d)
    rule = Rule(
        every,
        _whole(given.pop("INTERVAL", "1"), "INTERVAL"),
        _week_start(given.pop("WKST", "MO")),
        _numbers(given, "BYMONTH", 1, 12),
        _numbers(given, "BYMONTHDAY", -31, 31),
        _numbers(given, "BYYEARDAY", -366, 366),
        days,
        _times(given, start),
        _numbers(given, "BYSETPOS", -366, 366),
    )
    if (rule.year_days and every != YEARLY) or (rule.month_days and every == WEEKLY):
        raise RuleFault(f"the rule {shown(text)} cannot be: see RFC 5545, 3.3.10")
    count = _whole(given.pop("COUNT"), "COUNT") if "COUNT" in given else None
    until = stamp_of(given.pop("UNTIL"), any_year=True) if "UNTIL" in given else None
    if given:
        raise RuleFault(f"its rule has {shown(next(iter(given)))}, which is not read")
    return Repeats(rule, count, until)


def _week_start(text: str) -> int:
    if text not in DAYS:
        raise RuleFault(f"WKST={shown(text)} is no weekday")
    return DAYS.index(text)


def _weekday(text: str, every: str, rule: str) -> tuple[int, int]:
    match = re.fullmatch(r"([+-]?[0-9]{1,2})?(MO|TU|WE|TH|FR|SA|SU)", text.strip())
    n = int(match[1] or 0) if match else 0
    if match is None or (match[1] and (n == 0 or abs(n) > 53 or every not in (MONTHLY, YEARLY))):
        raise RuleFault(f"the rule {shown(rule)} cannot be read: BYDAY={shown(text)}")
    return n, DAYS.index(match[2])


def _whole(text: str, name: str) -> int:
    if not re.fullmatch("0*[1-9][0-9]{0,17}", text):
        raise RuleFault(f"{name}={shown(text)} is no number above zero")
    return int(text)


def _numbers(given: dict[str, str], name: str, low: int, high: int) -> tuple[int, ...]:
    found = []
    for text in given.pop(name, "").split(","):
        if not text:
            continue
        value = int(text) if re.fullmatch("[+-]?[0-9]{1,3}", text.strip()) else None
        if value is None or not low <= value <= high or (value == 0 and low < 0):
            raise RuleFault(f"{name} has {shown(text)}")
        found.append(value)
    return tuple(found)


def _times(given: dict[str, str], start: time) -> tuple[time, ...]:
    """BYHOUR, BYMINUTE and BYSECOND as times of the day."""
    names = ("BYHOUR", "BYMINUTE", "BYSECOND")
    if not any(n in given for n in names):
        return ()
    if "BYHOUR" not in given:
        raise RuleFault("its rule has minutes or seconds without hours, which is not read")
    hours, minutes, seconds = (_numbers(given, n, 0, top) for n, top in zip(names, (23, 59, 59), strict=True))
    found = [time(h, m, s) for h, m, s in product(hours, minutes or (start.minute,), seconds or (start.second,))]
    if len(found) > MOST_TIMES:
        raise RuleFault(f"its rule has {len(found)} times in a day, which is no diary")
    return tuple(sorted(set(found)))
