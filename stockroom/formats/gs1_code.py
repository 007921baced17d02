"""Barcodes by the GS1 General Specifications: element strings, bracketed text, digital links, plain trade item numbers.

Which application identifiers there are, and how long their values may be, is taken from biip; the values that matter here
are read by ourselves, since it takes the century from the computer's clock and lets a wrong check digit pass.
"""

import re
from collections.abc import Sequence
from datetime import date
from urllib.parse import parse_qsl, unquote, urlsplit

from stockroom.core.records import Finding
from stockroom.errors import Refused
from stockroom.formats.scanned_code import GTIN_DIGITS, Scanned, bad_code, check_digit, full_year, month_end, no_day

SEPARATOR = "\x1d"
STAND_INS = re.compile(r"<GS>|\{GS\}|\[GS\]|\\x1d|\\u001d|\^\]|[\x1d\u241d|~^]", re.IGNORECASE)
"""The group separator, and what scanners are set to type for it. None of these signs may stand in a value."""

NAMES = {
    "01": "trade item number", "10": "lot", "11": "production date", "15": "best-before date", "17": "expiry",
    "21": "serial number", "30": "count", "37": "count",
}  # fmt: skip
DATES = ("11", "15", "17")
WORDS = ("10", "21")
WORD = 20
"""Signs that a lot and a serial number may have."""
LONG = r"[0-9]{2}[!%-?A-Z_a-z\x22]+"
"""A lot or a serial number of any length: where a separator was lost it is longer than it may be."""
VARIABLE = re.compile(r"\{[0-9]+,[0-9]+\}")
Element = tuple[str, str]
"""(application identifier, value)."""


def gs1(text: str, today: date, *, fields: bool = False, number: bool = False) -> Scanned:
    """What a GS1 code says; ``text`` without its symbology prefix.

    ``fields``: the prefix says that it is a message of fields; ``number``: that it is a bare number. Without either, a
    number of the right length and check digit is a bare trade item number. Raises: Refused, naming the field.
    """
    if re.match(r"https?://", text, re.IGNORECASE):
        return _read(_linked(text), today, parted=True, sure=True)
    if text.startswith("("):
        return _read(_bracketed(text), today, parted=True)
    if not fields and re.fullmatch(GTIN_DIGITS, text) and (number or not _message(text, today)):
        return Scanned("GS1", _trade_item(text))
    text = STAND_INS.sub(SEPARATOR, text)
    return _read(elements(text), today, parted=SEPARATOR in text)


def _message(digits: str, today: date) -> bool:
    """True for bare digits that are no trade item number and yet a message of fields that begins with a date.

    One that begins with anything else would be a misread item number taken for a lot: numbers of cases begin with 10.
    """
    if digits[:2] not in DATES or check_digit(digits[:-1]) == int(digits[-1]):
        return False
    try:
        return bool(_plain(elements(digits), today))
    except Refused:
        return False


def elements(text: str) -> list[Element]:
    """The element strings of a message. Raises: Refused where one is unknown, too short, or has letters for digits."""
    found: list[Element] = []
    rest = text.strip(SEPARATOR)
    while rest:
        name, pattern = _identifier(rest)
        part = rest.split(SEPARATOR, 1)[0]
        # A field of no fixed length ends at a separator only: what is too long for it has swallowed others.
        match = re.match(LONG if name in WORDS else pattern.removesuffix("$"), part)
        if match is None or match.end() == len(name) or (VARIABLE.search(pattern) and match.end() < len(part)):
            raise _misfit(name, part[len(name) :])
        found.append((name, part[len(name) : match.end()]))
        rest = rest[match.end() :].lstrip(SEPARATOR)
    return found


def _identifier(text: str) -> tuple[str, str]:
    """(application identifier at the front, pattern of its element string). Raises: Refused."""
    from biip import ParseError
    from biip.gs1_application_identifiers import GS1ApplicationIdentifier

    try:
        found = GS1ApplicationIdentifier.extract(text)
    except ParseError:
        raise bad_code("field", text[:4], "no field of a GS1 code begins like this") from None
    return found.ai, found.pattern


def _misfit(name: str, value: str) -> Refused:
    field = f"{NAMES.get(name, 'field')} ({name})"
    if name == "01":
        return bad_code(field, value[:14], "it has 14 digits")
    if name in WORDS and len(value) > WORD:
        return bad_code(field, value[:40], f"it has up to {WORD} signs: the scanner seems to have dropped a separator")
    if name in DATES:
        return bad_code(field, value[:6], "it is no date of year, month and day")
    return bad_code(field, value[:40], "its length or its signs are not those of this field")


def _bracketed(text: str) -> list[Element]:
    """``(01)…(10)…``. Two to four digits in brackets are a field's name wherever they stand: else a misread one would be
    taken for a part of the value before it."""
    pieces = re.split(r"\(([0-9]{2,4})\)", text)
    found: list[Element] = []
    if pieces[0].strip():
        raise bad_code("text", pieces[0], "it stands before the first bracket")
    for name, raw in zip(pieces[1::2], pieces[2::2], strict=True):
        value = raw.strip()
        known, pattern = _identifier(name)
        if known != name:
            raise bad_code("field", f"({name})", "there is no such field in a GS1 code")
        if not value or not re.fullmatch(pattern, name + value):
            raise _misfit(name, value)
        found.append((name, value))
    return found


def _linked(text: str) -> list[Element]:
    """A GS1 digital link: identifier and value in turn in the path, others in the query.

    Any address may stand before the item, one with a part ``01`` too. A ``+`` in the query is itself, and ``;`` parts
    fields as ``&`` does: neither a blank nor a bare ``;`` stands in a value there. Source: GS1 Digital Link Standard (from
    memory).
    """
    try:
        parts = urlsplit(text)
    except ValueError:
        raise bad_code("link", text[:80], "it is no address") from None
    path = parts.path.rstrip("/").split("/")
    named = (n for n in range(len(path) - 2, -1, -2) if path[n] in ("01", "gtin"))
    start = min((n for n in named if re.fullmatch(GTIN_DIGITS, path[n + 1])), default=None)
    if start is None:
        raise bad_code("link", text[:80], "it names no trade item by /01/ and its number")
    pairs = [(name, unquote(value)) for name, value in zip(path[start::2], path[start + 1 :: 2], strict=True)]
    pairs += parse_qsl(parts.query.replace("+", "%2B").replace(";", "&"), keep_blank_values=True)
    short = {"gtin": "01", "lot": "10", "ser": "21", "exp": "17"}
    found: list[Element] = []
    for name, value in pairs:
        name = short.get(name, name)
        if name not in NAMES:
            continue
        value = value.zfill(14) if name == "01" else value
        if not value or not re.fullmatch(_identifier(name)[1], name + value):
            raise _misfit(name, value)
        found.append((name, value))
    return found


def _read(found: Sequence[Element], today: date, *, parted: bool, sure: bool = False) -> Scanned:
    """The fields that matter here; every other is read over. ``parted``: what separates them has come through;
    ``sure``: no separator can have been lost."""
    said: dict[str, str] = {}
    for name, value in found:
        if name in NAMES and said.setdefault(name, value) != value:
            raise bad_code(f"{NAMES[name]} ({name})", value, f'it stands there twice, the other is "{said[name]}"')
    findings: list[Finding] = []
    days = {name: _day(name, said[name], today, findings) for name in DATES if name in said}
    expiry, counts = days.get("17", days.get("15")), "17" if "17" in days else "15"
    expiry_is = "month" if said.get(counts, "").endswith("00") else "day"
    if "15" in days and "17" not in days:
        expiry_is = "best-before"
        what = f"the barcode has no expiry, only a best-before date: {days['15'].isoformat()} counts"
        findings.append(Finding("best-before", what))
    item = _trade_item(said["01"]) if "01" in said else None
    suspect, found_out = (None, []) if sure else _suspect(said, today)
    if not parted and suspect is None:
        found_out += _serial_inside(said)
    return Scanned(
        "GS1", item, said.get("10"), expiry, expiry_is, days.get("11"), said.get("21"), _count(said), suspect=suspect,
        findings=(*findings, *found_out),
    )  # fmt: skip


def _trade_item(digits: str) -> str:
    """A GTIN with 14 digits. Raises: Refused where its check digit is wrong."""
    right = check_digit(digits[:-1])
    if right != int(digits[-1]):
        raise bad_code("trade item number (01)", digits, f"its last digit should be {right}")
    return digits.zfill(14)


def _day(name: str, value: str, today: date, findings: list[Finding]) -> date:
    """A date of six digits, day 00 being the month's last."""
    year, month, day = full_year(int(value[:2]), today), int(value[2:4]), int(value[4:])
    try:
        if day:
            return date(year, month, day)
        last = month_end(year, month)
    except ValueError:
        raise bad_code(f"{NAMES[name]} ({name})", value, "there is no such day") from None
    findings.append(no_day(NAMES[name], last))
    return last


def _count(said: dict[str, str]) -> int | None:
    """How many there are. Raises: Refused for none at all."""
    text = said.get("30") or said.get("37")
    if text is None:
        return None
    if not int(text):
        raise bad_code("count (30)" if said.get("30") else "count (37)", text, "it cannot be zero")
    return int(text)


def _suspect(said: dict[str, str], today: date) -> tuple[Scanned | None, list[Finding]]:
    """Another reading where a lot or a serial number ends like further fields, a date the first of them.

    Raises: Refused for a word that is too long and yet has no other reading.
    """
    for field in WORDS:
        value = said.get(field, "")
        for at in range(1, min(len(value) - 7, WORD + 1)):
            if value[at : at + 2] not in DATES:
                continue
            try:
                inner = _plain(elements(value[at:]), today)
            except Refused:
                continue
            if any(f in said for f in inner):
                continue
            read = f'{NAMES[field]} "{value[:at]}"' + "".join(f', {NAMES[f]} "{v}"' for f, v in inner.items())
            what = f'{NAMES[field]} "{value}" may be {read}: the scanner seems to have dropped a separator'
            fields = said | {field: value[:at]} | dict(elements(value[at:]))
            other = _read(list(fields.items()), today, parted=True, sure=True)
            return other, [Finding("lost-separator", what, "compare with what is printed", urgent=True)]
        if len(value) > WORD:
            raise _misfit(field, value)
    return None, []


def _serial_inside(said: dict[str, str]) -> list[Finding]:
    """Says that a lot may end in a serial number. Only said: nothing tells that from signs of the lot itself."""
    found = re.fullmatch("(.{3,}?)21(.{3,})", said.get("10", ""))
    if found is None or "21" in said:
        return []
    what = f'if the box shows lot "{found[1]}" and serial number "{found[2]}", the scanner dropped a separator'
    return [Finding("lost-separator", what, "compare with what is printed")]


def _plain(found: Sequence[Element], today: date) -> dict[str, date | str]:
    """Identifier -> value, dates as days. Raises: Refused where a date is none, or lies where no date of a kit does."""
    out: dict[str, date | str] = {}
    for name, value in found:
        if name in DATES:
            day = _day(name, value, today, [])
            if not -20 <= day.year - today.year <= 20:
                raise bad_code(NAMES[name], value, "too far away")
            out[name] = day
        elif name in NAMES:
            out[name] = value
    return out
