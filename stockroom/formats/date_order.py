"""Written dates whose order is not certain: day first or month first, found out or asked, never guessed silently.

Shared by every reader of files that people export: loggers, bookings, stock.
"""

import re
from datetime import date

from stockroom.errors import Refused
from stockroom.formats.table_text import shown

FIRST_YEAR, LAST_YEAR = 1990, 2100
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
"""Only used to write a date so that nobody can misread it, and to read English names."""

DATE = r"""(?P<date>
  (?P<y>[0-9]{4})(?P<s>[-/.])(?P<m>[0-9]{1,2})(?P=s)(?P<d>[0-9]{1,2})
| (?P<basic>(?:19|20|21)[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01]))
| (?P<a>[0-9]{1,2})(?P<t>[-/.])(?P<b>[0-9]{1,2})(?P=t)(?P<yy>[0-9]{4}|[0-9]{2})
| (?P<nd>[0-9]{1,2})[-./ ]{1,2}(?P<nm>[A-Za-z]{3,9})[-./, ]{1,2}(?P<ny>[0-9]{4}|[0-9]{2})
| (?P<um>[A-Za-z]{3,9})[. -]{1,2}(?P<ud>[0-9]{1,2})(?:,[ ]?|[ -])(?P<uy>[0-9]{4})
)(?![0-9])"""
_ONLY_DATE = re.compile(DATE, re.VERBOSE)


SAY = "say --day-first or --month-first"


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


class TwoReadings(Refused):
    """A written date that could be day first or month first: a person can be asked. ``row``: what stands beside it."""

    row = ""

    def __init__(self, what: str, todo: str, line: int, by_day: date, by_month: date) -> None:
        super().__init__("day-or-month", what, todo)
        self.line, self.by_day, self.by_month = line, by_day, by_month


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
            raise _asked(two_readings(unsure[1], f"{name}, line {unsure[0]}: ", SAY), *unsure)
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


def _asked(fault: Refused, line: int, text: str) -> Refused:
    """The refusal as a question, where day first and month first both give a day."""
    match = _ONLY_DATE.fullmatch(text)
    if match is None or not match["a"]:
        return fault
    year = _century(match["yy"])
    by_day, by_month = (
        real_day(year, int(match["b"]), int(match["a"])),
        real_day(year, int(match["a"]), int(match["b"])),
    )
    return TwoReadings(fault.what, fault.todo, line, by_day, by_month) if by_day and by_month else fault


def month_number(word: str) -> int:
    """1 to 12 for an English month's name or its first letters (three, or ``Sept``), 0 for anything else."""
    low = word.casefold()
    if low == "sept":
        return 9
    return next((i for i, m in enumerate(MONTHS, 1) if low in (m.casefold(), m[:3].casefold())), 0)


def _century(year: str) -> int:
    value = int(year)
    return value if len(year) == 4 else 1900 + value if value >= 90 else 2000 + value
