"""What a barcode says, whichever standard it is written in, and what its parts have in common.

Reading never guesses: a field that is wrong is refused by its name, a field that is only suspicious is said.
"""

import calendar
from dataclasses import dataclass
from datetime import date

from stockroom.core.records import Finding
from stockroom.errors import Refused


@dataclass(frozen=True, slots=True)
class Scanned:
    """One barcode, or two that belong together.

    ``item``: a GTIN of 14 digits, or an HIBC labeller, item and unit digit as one word. ``quantity``: how many the
    code says that there are, in whatever the item is counted in. ``expiry`` is the last usable day; ``expiry_is`` says
    how sure that is: a ``day``, the last of a ``month`` that names no day, or only a ``best-before`` date. ``link`` and
    ``check``: for the two halves of an HIBC label, which are only sure to belong together where they are equal.
    ``suspect``: the same read in another way, where a separator seems to have been lost.
    """

    standard: str
    item: str | None = None
    lot: str | None = None
    expiry: date | None = None
    expiry_is: str = "day"
    made_on: date | None = None
    serial: str | None = None
    quantity: int | None = None
    link: str | None = None
    check: str | None = None
    suspect: "Scanned | None" = None
    findings: tuple[Finding, ...] = ()


def bad_code(
    field: str, value: str, why: str, todo: str = "scan it again, or type what is printed beside it"
) -> Refused:
    """The error for one field of a code."""
    shown = "".join(c if c.isprintable() else "·" for c in value)
    return Refused("bad-code", f'{field} "{shown}" in the barcode: {why}', todo)


def full_year(two_digits: int, today: date) -> int:
    """The year meant by two digits: 51 and more ahead is the century before, 50 and more behind the next one.

    Source: GS1 General Specifications, "Determination of century in dates". HIBC leaves it open; the same is used.
    """
    ahead = two_digits - today.year % 100
    century = today.year // 100 * 100
    if ahead >= 51:
        century -= 100
    elif ahead <= -50:
        century += 100
    return century + two_digits


def month_end(year: int, month: int) -> date:
    """The last day of a month. Raises: ValueError where there is no such month."""
    if not 1 <= month <= 12:
        raise ValueError(month)
    return date(year, month, calendar.monthrange(year, month)[1])


def no_day(field: str, day: date) -> Finding:
    """Says that a code gives no day of the month."""
    return Finding(
        "no-day-in-code", f"{field} in the barcode names no day: its month's last day, {day.isoformat()}, counts"
    )


HIBC_ITEM = "[A-Z][A-Z0-9]{3}[A-Z0-9]{1,18}[0-9]"
"""Labeller, item and unit digit of an HIBC code, as one word (ANSI/HIBC 2)."""
GTIN_DIGITS = "[0-9]{8}|[0-9]{12,14}"


def check_digit(digits: str) -> int:
    """The last digit that a GTIN with these digits before it has.

    Source: GS1 General Specifications, check digit modulo 10 with weights 3 and 1 from the right.
    """
    return -sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(reversed(digits))) % 10
