"""One written date and time -> seconds on the clock on the wall, and which instants those are.

"Wall seconds" are seconds from 1970-01-01 00:00 on the clock in question, whatever its zone. Read are ISO 8601
(``T`` or a space, extended or basic), year-month-day with ``/`` or ``.``, day/month/year in numbers, and English
month names; hours as 24 h or AM/PM. Fractions of a second are cut off. 24:00 is 00:00 of the next day. Seconds or
milliseconds since 1970 are read where a whole column holds them.
"""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from stockroom.formats.date_order import DATE, LAST_YEAR, DateOrder
from stockroom.formats.table_text import shown

DAY = 86_400
_END_COUNT = (date(LAST_YEAR + 1, 1, 1) - date(1970, 1, 1)).days * DAY
MOST_OFFSET_HOURS = 14
_CLOCK = r"""(?:
  (?P<h>[0-9]{1,2})(?P<c>[:.])(?P<mi>[0-9]{2})(?:(?P=c)(?P<sec>[0-9]{2})(?:[.,][0-9]{1,9})?)?
| (?P<bh>[0-9]{2})(?P<bmi>[0-9]{2})(?P<bsec>[0-9]{2})?
)(?:[ ]?(?P<half>[AaPp])\.?[Mm]\.?)?"""
_OFFSET = r"(?:[ ]?(?P<zone>[Zz]|(?:UTC|GMT)?[ ]?[+-][0-9]{2}(?::?[0-9]{2})?|UTC|GMT))?"
_STAMP = re.compile(rf"{DATE}(?:(?:[Tt]|,?[ ]){_CLOCK}{_OFFSET})?", re.VERBOSE)
_ONLY_CLOCK = re.compile(r"[0-9]{1,2}(?::[0-9]{2}){1,2}(?:[.,][0-9]{1,9})?(?: ?[AaPp]\.?[Mm]\.?)?")
_COUNT = re.compile(r"(?P<seconds>[1-9][0-9]{9})(?P<thousandths>[0-9]{3})?(?:[.,][0-9]{1,9})?")
_LONGEST = 60


def shape(text: str) -> str:
    """``stamp`` for a date with a time of day, ``date`` or ``clock`` for one of them, else the empty string.

    The shape only: whether there is such a day is not asked.
    """
    clean = " ".join(text[: _LONGEST + 1].split())
    if not clean or len(clean) > _LONGEST:
        return ""
    if _ONLY_CLOCK.fullmatch(clean):
        return "clock"
    match = _STAMP.fullmatch(clean)
    return "" if match is None else "date" if not (match["h"] or match["bh"]) else "stamp"


def is_count(text: str) -> bool:
    """True for seconds or milliseconds since 1970: ten digits or thirteen, up to the last year looked at."""
    return counted(text[: _LONGEST + 1]) is not None


def counted(text: str) -> int | None:
    """Whole UTC seconds from a count of seconds or milliseconds since 1970, None for what is none."""
    clean = text.strip()
    match = _COUNT.fullmatch(clean) if len(clean) <= _LONGEST else None
    if match is None:
        return None
    seconds = int(match["seconds"])
    return seconds if seconds < _END_COUNT else None


def stamp(
    text: str, order: DateOrder, line: int, *, bare: bool = False, counts: bool = False
) -> tuple[int, int | None] | str:
    """Wall seconds and the offset from UTC in seconds (None where none is written), or why it is unreadable.

    With ``bare`` a date alone is read as its 00:00, with ``counts`` a number as seconds since 1970.
    """
    if len(text) > 3 * _LONGEST:
        return f"{shown(text)} is not a time"
    since = counted(text) if counts else None
    if since is not None:
        return since, 0
    match = _STAMP.fullmatch(" ".join(text.split()))
    if match is None:
        return "the time is empty" if not text.strip() else f"{shown(text)} is not a time"
    day = order.day_number(match["date"], line)
    if isinstance(day, str):
        return day
    hour, minute, second = match["h"] or match["bh"], match["mi"] or match["bmi"], match["sec"] or match["bsec"]
    if hour is None:
        return (day * DAY, None) if bare else f"{shown(text)} has no time of day"
    seconds = _clock_seconds(int(hour), int(minute), int(second or 0), match["half"])
    offset = _offset_seconds(match["zone"])
    if seconds is None or offset is False:
        return f"{shown(text)} is not a time"
    return day * DAY + seconds, offset


def _clock_seconds(hour: int, minute: int, second: int, half: str | None) -> int | None:
    """Seconds since midnight, 86400 for 24:00, None for what no clock shows."""
    if half is not None:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half in "Pp" else 0)
    if minute > 59 or second > 59 or hour > 24 or (hour == 24 and (minute or second)):
        return None
    return hour * 3600 + minute * 60 + second


def _offset_seconds(zone: str | None) -> int | bool | None:
    """Seconds east of UTC; None where no zone is written, False where it is one that cannot be."""
    if zone is None:
        return None
    digits = re.sub("[^0-9]", "", zone)
    if not digits:
        return 0
    hours, minutes = int(digits[:2]), int(digits[2:] or 0)
    if minutes > 59 or hours * 60 + minutes > MOST_OFFSET_HOURS * 60:
        return False
    return (-60 if "-" in zone else 60) * (hours * 60 + minutes)


def instants(wall: int, zone: ZoneInfo) -> tuple[int, ...]:
    """The UTC seconds at which a zone's clocks show ``wall``: one, none (skipped), or two (earlier first)."""
    naive = datetime(1970, 1, 1) + timedelta(seconds=wall)  # noqa: DTZ001 (a clock's face, no instant)
    found: set[int] = set()
    for fold in (0, 1):
        offset = naive.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta()
        utc = wall - round(offset.total_seconds())
        back = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=utc)).astimezone(zone)
        if back.replace(tzinfo=None) == naive:
            found.add(utc)
    return tuple(sorted(found))


def wall_text(wall: int) -> str:
    """``2026-03-29 02:30`` for wall seconds, with seconds only where there are any."""
    naive = datetime(1970, 1, 1) + timedelta(seconds=wall)  # noqa: DTZ001 (a clock's face, no instant)
    return naive.strftime("%Y-%m-%d %H:%M:%S" if wall % 60 else "%Y-%m-%d %H:%M")
