"""One written date and time -> seconds on the clock on the wall, and which instants those are.

"Wall seconds" are seconds from 1970-01-01 00:00 on the clock in question, whatever its zone. Read are ISO 8601
(``T`` or a space, extended or basic), year-month-day with ``/`` or ``.``, day/month/year in numbers, and English
month names; hours as 24 h or AM/PM. Fractions of a second are cut off. 24:00 is 00:00 of the next day. Seconds or
milliseconds since 1970 are read where a whole column holds them.
"""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from stockroom.errors import Refused
from stockroom.formats.table_text import shown

FIRST_YEAR, LAST_YEAR = 1990, 2100
DAY = 86_400
_END_COUNT = (date(LAST_YEAR + 1, 1, 1) - date(1970, 1, 1)).days * DAY
MOST_OFFSET_HOURS = 14
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
"""Only used to write a date so that nobody can misread it, and to read English names."""

_DATE = r"""(?P<date>
  (?P<y>[0-9]{4})(?P<s>[-/.])(?P<m>[0-9]{1,2})(?P=s)(?P<d>[0-9]{1,2})
| (?P<basic>(?:19|20|21)[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01]))
| (?P<a>[0-9]{1,2})(?P<t>[-/.])(?P<b>[0-9]{1,2})(?P=t)(?P<yy>[0-9]{4}|[0-9]{2})
| (?P<nd>[0-9]{1,2})[-./ ]{1,2}(?P<nm>[A-Za-z]{3,9})[-./, ]{1,2}(?P<ny>[0-9]{4}|[0-9]{2})
| (?P<um>[A-Za-z]{3,9})[. -]{1,2}(?P<ud>[0-9]{1,2})(?:,[ ]?|[ -])(?P<uy>[0-9]{4})
)(?![0-9])"""
_CLOCK = r"""(?:
  (?P<h>[0-9]{1,2})(?P<c>[:.])(?P<mi>[0-9]{2})(?:(?P=c)(?P<sec>[0-9]{2})(?:[.,][0-9]{1,9})?)?
| (?P<bh>[0-9]{2})(?P<bmi>[0-9]{2})(?P<bsec>[0-9]{2})?
)(?:[ ]?(?P<half>[AaPp])\.?[Mm]\.?)?"""
_OFFSET = r"(?:[ ]?(?P<zone>[Zz]|(?:UTC|GMT)?[ ]?[+-][0-9]{2}(?::?[0-9]{2})?|UTC|GMT))?"
_STAMP = re.compile(rf"{_DATE}(?:(?:[Tt]|,?[ ]){_CLOCK}{_OFFSET})?", re.VERBOSE)
_ONLY_DATE = re.compile(_DATE, re.VERBOSE)
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


def plain_day(day: date) -> str:
    """``3 April 2026``: a day that cannot be read in two ways."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def real_day(year: int, month: int, day: int) -> date | None:
    """The day, or None where there is none or its year is not one that this program is about."""
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    try:
        return date(year, month, day)
    except ValueError:
        return None


class DateOrder:
    """Which way round a file's numeric dates are: as told, or as the dates themselves make certain.

    While nothing is known, dates are read day first; ``stands`` says afterwards whether that holds.
    """

    def __init__(self, day_first: bool | None) -> None:
        self.given = day_first
        self.day_first = day_first is not False
        self._days: dict[str, int | str] = {}
        self._seen: dict[str, tuple[int, str]] = {}
        self._short_firsts: set[int] = set()
        self._short_sure = False

    def day_number(self, text: str, line: int) -> int | str:
        """Days since 1970-01-01 for a written date, or why it cannot be read. ``line`` is for messages."""
        known = self._days.get(text)
        if known is None:
            match = _ONLY_DATE.fullmatch(text)
            day = self._day(match, line) if match else None
            known = (
                (day - date(1970, 1, 1)).days
                if day
                else f"{shown(text)} is no day between {FIRST_YEAR} and {LAST_YEAR}"
            )
            if len(self._days) > 50_000:
                self._days.clear()
            self._days[text] = known
        return known

    def _day(self, match: re.Match[str], line: int) -> date | None:
        if match["y"]:
            return real_day(int(match["y"]), int(match["m"]), int(match["d"]))
        if match["basic"]:
            raw = match["basic"]
            return real_day(int(raw[:4]), int(raw[4:6]), int(raw[6:]))
        if match["a"]:
            return self._numeric(match, line)
        day, name, year = (match["nd"] or match["ud"], match["nm"] or match["um"], match["ny"] or match["uy"])
        month = month_number(name)
        if len(year) == 2 and month:
            self._short(int(day), line, match["date"], sure=True)
        return real_day(_century(year), month, int(day))

    def _numeric(self, match: re.Match[str], line: int) -> date | None:
        first, second, year = int(match["a"]), int(match["b"]), _century(match["yy"])
        by_day, by_month = real_day(year, second, first), real_day(year, first, second)
        short = len(match["yy"]) == 2
        if by_day and by_month:
            if by_day != by_month:
                self._seen.setdefault("dotted" if match["t"] == "." else "open", (line, match["date"]))
        elif by_month:
            self._seen.setdefault("month", (line, match["date"]))
        elif by_day and not short:
            self._seen.setdefault("day", (line, match["date"]))
        if short:
            self._short(first, line, match["date"], sure=bool(by_day and not by_month))
        return by_day if self.day_first else by_month

    def _short(self, first: int, line: int, text: str, *, sure: bool) -> None:
        """A year of two digits: 13/04/26 is certain only once its first number is seen to run like days do."""
        self._seen.setdefault("short", (line, text))
        if len(self._short_firsts) < 3:
            self._short_firsts.add(first)
        self._short_sure = self._short_sure or sure

    @property
    def _sure_by_day(self) -> tuple[int, str] | None:
        certain = self._short_sure and len(self._short_firsts) > 2
        return self._seen.get("day") or (self._seen.get("short") if certain else None)

    def stands(self, name: str) -> bool:
        """True where the dates were read as they must be; False where they must be read month first.

        Raises: Refused where every date could be both, or some can only be one and some only the other.
        """
        if self.given is not None:
            return True
        by_day, by_month = self._sure_by_day, self._seen.get("month")
        if by_day and by_month:
            raise Refused(
                "day-or-month",
                f"{name}: {by_day[1]} (line {by_day[0]}) can only be day first, "
                f"{by_month[1]} (line {by_month[0]}) only month first",
                "say --day-first or --month-first, and the other lines are reported",
            )
        unsure = None if by_day or by_month else self._seen.get("open") or self._seen.get("short")
        if unsure:
            raise two_readings(unsure[1], f"{name}, line {unsure[0]}: ", "say --day-first or --month-first")
        return not by_month

    def notes(self) -> tuple[str, ...]:
        """What a person should know about how the dates were read."""
        if self.given is None and "dotted" in self._seen and not self._sure_by_day:
            return (f"dates like {self._seen['dotted'][1]} were read day first, as is usual with dots",)
        return ()


def two_readings(text: str, where: str, todo: str) -> Refused:
    """The refusal of a written date that could be two days (or more, with a year of two digits)."""
    found = [int(n) for n in re.findall("[0-9]+", text)]
    ways: list[date | None] = []
    if len(found) == 3:
        a, b, c = found
        years = _century(str(c).zfill(2)) if c < 100 else c
        ways = [real_day(years, b, a), real_day(years, a, b)]
        if c < 100:
            ways.append(real_day(_century(str(a).zfill(2)), b, c))
    named = list(dict.fromkeys(plain_day(w) for w in ways if w))
    what = " or ".join(named) if len(named) > 1 else "not certain: its year has two digits"
    return Refused("day-or-month", f"{where}{text} is {what}", todo)


def month_number(word: str) -> int:
    """1 to 12 for an English month's name or its first letters (three, or ``Sept``), 0 for anything else."""
    low = word.casefold()
    if low == "sept":
        return 9
    return next((i for i, m in enumerate(MONTHS, 1) if low in (m.casefold(), m[:3].casefold())), 0)


def _century(year: str) -> int:
    value = int(year)
    return value if len(year) == 4 else 1900 + value if value >= 90 else 2000 + value


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
