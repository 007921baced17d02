"""Barcodes by the Health Industry Bar Code Supplier Labeling Standard (ANSI/HIBC 2): primary, secondary and both in one.

``+`` labeller (a letter, three signs), item, unit digit, check sign; the secondary half has date and lot, and begins
with ``$$`` (month and year, or a sign that says which date follows), ``$`` (lot alone) or five digits (year and day of
the year). Alone it ends in the primary's check sign, which links the two, and a check sign of its own.
"""

import re
from collections.abc import Callable
from datetime import date, timedelta

from stockroom.core.records import Finding
from stockroom.formats.scanned_code import HIBC_ITEM, Scanned, bad_code, full_year, month_end, no_day

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"

NAMES = {"lot": "lot", "serial": "serial number"}

DATE_LENGTHS = {"2": 6, "3": 6, "4": 8, "5": 5, "6": 7}
"""The sign in front of a date -> how many digits it has; 0 and 1 are the first digit of a month already."""


def hibc(text: str, today: date) -> Scanned:
    """What an HIBC code says; ``text`` begins with ``+``. Raises: Refused, naming the field."""
    body = _checked(text)
    check = text[len(body)]
    if re.match(r"\+[A-Z]", body):
        primary, slash, rest = body[1:].partition("/")
        item = _item(primary)
        if not slash:
            return Scanned("HIBC", item, check=check)
        return _secondary(rest, today, item=item)
    if len(body) < 3:
        raise bad_code("barcode", text, "nothing is in it")
    return _secondary(body[1:-1], today, link=body[-1])


def check_sign(text: str) -> str:
    """The sign that follows ``text``: the sum of the values of its signs, modulo 43. Raises: ValueError."""
    return SIGNS[sum(SIGNS.index(sign) for sign in text) % 43]


def _checked(text: str) -> str:
    """The code without its check sign. Raises: Refused."""
    stray = next((sign for sign in text if sign not in SIGNS), None)
    if stray is not None:
        hint = "is the capitals key on? " if stray.upper() in SIGNS else ""
        raise bad_code("sign", stray, f"{hint}an HIBC code has capitals, digits and - . $ / + % only")
    if len(text) > 2 and check_sign(text[:-1]) == text[-1]:
        return text[:-1]
    # A blank is a check sign too, and is easily lost on the way; to take that for granted would let one misread
    # code in 43 pass, with a sign too many in its lot.
    lost = "; if its last sign is a blank, type the code with it, in quotes" if check_sign(text) == " " else ""
    raise bad_code("check sign", text[-1:], f'it should be "{check_sign(text[:-1])}": a sign was misread{lost}')


def _item(primary: str) -> str:
    if not re.fullmatch(HIBC_ITEM, primary):
        raise bad_code(
            "item", primary, "it is a letter, three signs, 1 to 18 signs of an item, and a digit for the unit"
        )
    return primary


def _secondary(rest: str, today: date, *, item: str | None = None, link: str | None = None) -> Scanned:
    """Quantity, date and lot, then what follows behind further strokes."""
    first, *more = rest.split("/")
    findings: list[Finding] = []
    said: dict[str, str | int | date] = {}
    tail, field = _dated(first, today, said), "serial" if _by_serial(first) else "lot"
    if tail:
        said[field] = _word(NAMES[field], tail)
    for part in more:
        _further(part, said)
    if said.get("expiry_is") == "month" and isinstance(last := said.get("expiry"), date):
        findings.append(no_day("expiry", last))
    return Scanned("HIBC", item, link=link, findings=tuple(findings), **said)  # type: ignore[arg-type]


def _dated(first: str, today: date, said: dict[str, str | int | date]) -> str:
    """Reads quantity and date off the front; what is left is the lot (or a serial number)."""
    if first.startswith("$$"):
        rest = _quantity(first[2:].removeprefix("+"), said)
        if rest == "" and "quantity" in said:
            return ""
        return _flagged(rest, today, said)
    if first.startswith("$"):
        return first[1:].removeprefix("+")
    if re.match("[0-9]{5}", first):
        said["expiry"] = _julian(first[:5], today)
        return first[5:]
    raise bad_code("second part", first, "it begins with $$, with $, or with five digits of a date")


def _by_serial(first: str) -> bool:
    """True where a serial number follows instead of a lot."""
    return first.startswith(("$$+", "$+"))


def _quantity(rest: str, said: dict[str, str | int | date]) -> str:
    length = {"8": 2, "9": 5}.get(rest[:1])
    if length is None:
        return rest
    digits = rest[1 : 1 + length]
    if not re.fullmatch(f"[0-9]{{{length}}}", digits):
        raise bad_code("quantity", digits, f"it has {length} digits")
    if not int(digits):
        raise bad_code("quantity", digits, "it cannot be zero")
    said["quantity"] = int(digits)
    return rest[1 + length :]


def _flagged(rest: str, today: date, said: dict[str, str | int | date]) -> str:
    """The date whose kind its first sign says; 7 is no date."""
    flag = rest[:1]
    if flag == "7":
        return rest[1:]
    if flag in ("0", "1"):
        digits = rest[:4]
        if re.fullmatch("[0-9]{4}", digits):
            said["expiry_is"] = "month"
            said["expiry"] = _day(digits, lambda: month_end(full_year(int(digits[2:]), today), int(digits[:2])))
            return rest[4:]
        raise bad_code("expiry", digits, "it is two digits of a month and two of a year")
    length = DATE_LENGTHS.get(flag)
    if length is None:
        raise bad_code("date sign", flag, "0 to 7 says which date follows")
    digits = rest[1 : 1 + length]
    if not re.fullmatch(f"[0-9]{{{length}}}", digits):
        raise bad_code("expiry", digits, f"it has {length} digits")
    said["expiry"] = _by_flag(flag, digits, today)
    return rest[1 + length :]


def _by_flag(flag: str, digits: str, today: date) -> date:
    if flag in ("4", "6"):
        if int(digits[-2:]) > 23:
            raise bad_code("expiry", digits, "its hour is no hour")
        digits = digits[:-2]
    if flag in ("5", "6"):
        return _julian(digits, today)
    year, month, day = (digits[4:], digits[:2], digits[2:4]) if flag == "2" else (digits[:2], digits[2:4], digits[4:])
    return _day(digits, lambda: date(full_year(int(year), today), int(month), int(day)))


def _julian(digits: str, today: date) -> date:
    """Year and day of the year."""
    year, number = full_year(int(digits[:2]), today), int(digits[2:])
    found = date(year, 1, 1) + timedelta(days=number - 1)
    if not number or found.year != year:
        raise bad_code("expiry", digits, f"the year {year} has no day {number}")
    return found


def _further(part: str, said: dict[str, str | int | date]) -> None:
    """Production and expiry dates in full, a serial number, a quantity; every other is read over."""
    if part.startswith(("14D", "16D")):
        digits, name = part[3:], "made_on" if part.startswith("16D") else "expiry"
        field = "expiry" if name == "expiry" else "production date"
        if not re.fullmatch("[0-9]{8}", digits):
            raise bad_code(field, digits, "it has four digits of a year, two of a month, two of a day")
        found = _day(digits, lambda: date(int(digits[:4]), int(digits[4:6]), int(digits[6:])), field)
        if name == "expiry" and said.pop("expiry_is", "") == "month" and f"{said['expiry']:%Y%m}" == digits[:6]:
            del said["expiry"]  # the same, only without its day
        _once(said, name, found, field, digits)
    elif part.startswith("S") and len(part) > 1:
        _once(said, "serial", _word(NAMES["serial"], part[1:]), NAMES["serial"], part[1:])
    elif re.fullmatch("Q[0-9]{1,5}", part):
        if not int(part[1:]):
            raise bad_code("quantity", part[1:], "it cannot be zero")
        _once(said, "quantity", int(part[1:]), "quantity", part[1:])


def _once(said: dict[str, str | int | date], name: str, found: str | int | date, field: str, shown: str) -> None:
    """Raises: Refused for a field that stands there twice and differs."""
    if said.setdefault(name, found) != found:
        raise bad_code(field, shown, f"it stands there twice, the other is {said[name]}")


def _day(digits: str, made: Callable[[], date], field: str = "expiry") -> date:
    """A day of the calendar. Raises: Refused where there is none such."""
    try:
        return made()
    except ValueError:
        raise bad_code(field, digits, "there is no such day") from None


def _word(field: str, text: str) -> str:
    if not re.fullmatch(r"[A-Z0-9.\-]{1,20}", text):
        raise bad_code(field, text, "it has up to 20 capitals and digits")
    return text
