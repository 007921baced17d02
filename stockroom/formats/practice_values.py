"""Readers of single values in a practice file, for the tables of practice_keys.py.

A reader takes what the TOML reader made (numbers with a point are Decimal, days are dates) and gives the practice's
value, or raises Wrong with what to write instead. A temperature is a number of °C and becomes thousandths, hours
become seconds, times of the day become minutes since midnight, weekdays 0 (Monday) to 6.
"""

import re
from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from unicodedata import category, normalize
from zoneinfo import ZoneInfo, available_timezones

from stockroom.core.practice import WEEKDAYS, Hours
from stockroom.core.units import SLIP_HIGH, SLIP_LOW, milli_from_decimal
from stockroom.errors import nearest
from stockroom.formats.practice_problems import Problem, Wrong
from stockroom.formats.scanned_code import GTIN_DIGITS, HIBC_ITEM, check_digit

Reader = Callable[[Any], Any]
YEARS = (1990, 2100)
LONG_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def words(raw: Any) -> str:
    """One line of text as people write it."""
    if not isinstance(raw, str):
        raise Wrong('give a text in "quotes"')
    text = normalize("NFC", raw)
    if not text.strip():
        raise Wrong("must not be empty")
    unseen = next((c for c in text if not c.isprintable() and category(c) != "Zs"), "")
    if unseen:
        raise Wrong(f"holds the character U+{ord(unseen):04X}, which cannot be seen; write one plain line")
    if len(text) > 500:
        raise Wrong("is longer than 500 characters")
    return text


def name(raw: Any) -> str:
    """A name that other lines and commands refer to."""
    text = words(raw)
    if text != text.strip() or any(category(c) == "Zs" and c != " " for c in text):
        raise Wrong("has blanks at an end or a blank that is not a plain one")
    if len(text) > 60:
        raise Wrong("is longer than 60 characters")
    return text


def code(raw: Any) -> str:
    """A name that commands also use as in CK/LOT and CK=2."""
    text = name(raw)
    if text.startswith("-") or set(text) & set("/="):
        raise Wrong("must not begin with - nor hold / or =, which commands give a meaning")
    return text


def initials(raw: Any) -> str:
    """A person, by initials only."""
    text = name(raw)
    if len(text) > 5 or " " in text:
        raise Wrong("give initials of at most 5 letters, not a name")
    return text


def yes_no(raw: Any) -> bool:
    """True or false."""
    if not isinstance(raw, bool):
        raise Wrong("give true or false, without quotes")
    return raw


def number(least: float, most: float) -> Reader:
    """A number from ``least`` to ``most``, both included, as Decimal."""

    def read(raw: Any) -> Decimal:
        if isinstance(raw, bool) or not isinstance(raw, int | Decimal):
            raise Wrong("give a number, without quotes")
        exact = Decimal(raw) if isinstance(raw, Decimal) or abs(raw) < 10**15 else Decimal("inf")
        if not exact.is_finite() or not Decimal(str(least)) <= exact <= Decimal(str(most)):
            raise Wrong(f"give a number from {least:g} to {most:g}")
        return exact

    return read


def whole(least: int, most: int = 1_000_000) -> Reader:
    """A whole number from ``least`` to ``most``."""

    def read(raw: Any) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise Wrong("give a whole number, without quotes")
        if raw < least:
            raise Wrong(f"give {least} or more")
        if raw > most:
            raise Wrong(f"more than {most} is surely a slip")
        return raw

    return read


def plain(least: float, most: float) -> Reader:
    """The same as ``number``, as a float."""
    return lambda raw: float(number(least, most)(raw))


def hours_long(raw: Any) -> int:
    """A number of hours, fractions allowed, as whole seconds."""
    seconds: int = round(number(0, 10_000)(raw) * 3600)
    return seconds


def temperature(raw: Any) -> int:
    """°C as thousandths."""
    return milli_from_decimal(number(SLIP_LOW / 1000, SLIP_HIGH / 1000)(raw))


def chance(raw: Any) -> float:
    """A chance strictly between 0 and 1."""
    exact = number(0, 100)(raw)
    if not 0 < exact < 1:
        hint = f": {exact} % is {(exact / 100).normalize():f}" if 1 < exact < 100 else ""
        raise Wrong(f"give a number above 0 and below 1{hint}")
    return float(exact)


def choice(*known: str) -> Reader:
    """One of a few words."""

    def read(raw: Any) -> str:
        if raw in known:
            return str(raw)
        listed = ", ".join(f'"{word}"' for word in known)
        raise Wrong(f"give one of {listed}{nearest(raw, list(known)) if isinstance(raw, str) else ''}")

    return read


def currency(raw: Any) -> str:
    """Three letters, as ISO 4217 has them."""
    if not isinstance(raw, str) or not re.fullmatch("[A-Za-z]{3}", raw):
        raise Wrong('give the three letters of the currency, like "GBP"')
    return raw.upper()


def zone(raw: Any) -> str:
    """A time zone of the IANA list; the computer's own and those that count leap seconds are none."""
    text = name(raw)
    try:
        if text.split("/")[0] in ("right", "posix", "localtime", "posixrules", "Factory"):
            raise ValueError(text)
        ZoneInfo(text)
    except (ValueError, OSError, KeyError):
        hint = nearest(text, sorted(available_timezones()))
        raise Wrong(f"there is no such time zone{hint or ', write it like Europe/London'}") from None
    return text


def pattern(raw: Any) -> str:
    """A regular expression."""
    text = words(raw)
    try:
        re.compile(text)
    except (re.error, RecursionError, OverflowError) as problem:
        raise Wrong(f"is not a regular expression: {problem}") from None
    return text


def day(raw: Any) -> date:
    """A local day."""
    if isinstance(raw, datetime) or not isinstance(raw, date):
        raise Wrong("give a day like 2026-12-24, without quotes and without a time")
    if not YEARS[0] <= raw.year <= YEARS[1]:
        raise Wrong(f"the year is outside {YEARS[0]} to {YEARS[1]}")
    return raw


def time_of_day(raw: Any) -> int:
    """``"14:00"`` as minutes since midnight."""
    found = re.fullmatch("([0-9]{1,2}):([0-9]{2})", raw) if isinstance(raw, str) else None
    if not found or int(found[2]) > 59 or int(found[1]) * 60 + int(found[2]) > 1440:
        raise Wrong('give a time of the day like "14:00"')
    return int(found[1]) * 60 + int(found[2])


def span(raw: Any) -> tuple[int, int]:
    """``"08:30-12:30"`` as minutes since midnight; 24:00 may end it."""
    ends = raw.split("-") if isinstance(raw, str) else []
    if len(ends) != 2:
        raise Wrong('give hours like "08:30-12:30"')
    first, last = (time_of_day(end.strip()) for end in ends)
    if first >= last:
        raise Wrong("ends before it begins; hours past midnight are two spans, one for each day")
    return first, last


def weekday(raw: Any) -> int:
    """``"mon"`` or ``"Monday"`` as 0."""
    word = raw.strip().casefold() if isinstance(raw, str) else ""
    for names in (WEEKDAYS, LONG_DAYS):
        if word in names:
            return names.index(word)
    raise Wrong(f"there is no such weekday{nearest(word, [*WEEKDAYS, *LONG_DAYS])}")


def trade_code(raw: Any) -> str:
    """A GTIN (8, 12, 13 or 14 digits with their check digit; given back with 14), or an HIBC identification.

    Written as a barcode of the same item is read (formats/scanned_code.py), so that both are equal.
    """
    text = raw.strip() if isinstance(raw, str) else ""
    if re.fullmatch(HIBC_ITEM, text):
        return text
    if not re.fullmatch(GTIN_DIGITS, text):
        raise Wrong('give the 8, 12, 13 or 14 digits under the barcode in "quotes"')
    if (check := check_digit(text[:-1])) != int(text[-1]):
        raise Wrong(f"its last digit should be {check}: read it again")
    return text.zfill(14)


def each(reader: Reader, *, least: int = 0) -> Reader:
    """A list, every item by ``reader``, as a tuple."""

    def read(raw: Any) -> tuple[Any, ...]:
        if not isinstance(raw, list):
            raise Wrong("give a list: [ … ]")
        if len(raw) < least:
            raise Wrong("must not be empty")
        found, wrong = [], []
        for place, item in enumerate(raw):
            try:
                found.append(reader(item))
            except Wrong as problem:
                wrong += problem.at(place)
        if wrong:
            raise Wrong(below=wrong)
        return tuple(found)

    return read


def unlike(reader: Reader, *, least: int = 0) -> Reader:
    """A list in rising order, nothing in it twice."""

    def read(raw: Any) -> tuple[Any, ...]:
        found = each(reader, least=least)(raw)
        for place, item in enumerate(found):
            if item in found[:place]:
                raise Wrong(below=[Problem((place,), "stands there twice")])
        return tuple(sorted(found))

    return read


def spans(raw: Any) -> tuple[tuple[int, int], ...]:
    """The hours of one day, in their order; they may touch but not overlap."""
    found = each(span)(raw)
    for place, (first, last) in enumerate(found):
        if any(first < other_last and other_first < last for other_first, other_last in found[:place]):
            raise Wrong(below=[Problem((place,), "overlaps hours that stand before it")])
    return tuple(sorted(found))


def opening(raw: Any) -> Hours:
    """``{ mon = ["08:30-12:30"] }``: seven days, those not named closed."""
    if not isinstance(raw, dict):
        raise Wrong('give the hours of each day: { mon = ["08:30-12:30", "13:30-17:30"] }')
    week: list[tuple[tuple[int, int], ...] | None] = [None] * 7
    wrong: list[Problem] = []
    for word, hours in raw.items():
        try:
            number_of_day = weekday(word)
            if week[number_of_day] is not None:
                raise Wrong("is the same day under another name")
            week[number_of_day] = spans(hours)
        except Wrong as problem:
            wrong += problem.at(word)
    if not wrong and not any(week):
        raise Wrong("no day is open")
    if wrong:
        raise Wrong(below=wrong)
    return tuple(hours or () for hours in week)


def contents(raw: Any) -> tuple[tuple[str, int], ...]:
    """``{ SWAB = 4 }``: what is packed inside, and how many."""
    if not isinstance(raw, dict):
        raise Wrong("give the pieces of each supply inside: { SWAB = 4 }")
    wrong: list[Problem] = []
    for word, pieces in raw.items():
        try:
            code(word)
            whole(1)(pieces)
        except Wrong as problem:
            wrong += problem.at(word)
    if wrong:
        raise Wrong(below=wrong)
    return tuple((normalize("NFC", word), pieces) for word, pieces in raw.items())
