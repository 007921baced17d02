"""What a hand scanner typed: which standard it is, without its symbology prefix, and the barcodes of one box joined."""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from stockroom.errors import Refused
from stockroom.formats.gs1_code import gs1
from stockroom.formats.hibc_code import hibc
from stockroom.formats.scanned_code import Scanned, bad_code

LONGEST = 400
FIELDS = ("]C1", "]e0", "]e1", "]e2", "]d2", "]Q3", "]J1")
"""Symbology prefixes (ISO/IEC 15424) that say that GS1 fields follow."""
NUMBERS = ("]E", "]I")
"""Symbology prefixes of retail barcodes and of those on cases: they hold a trade item number alone."""
STRAY = re.compile("[^ -~\x1d\u241d]")
"""Signs that stand in no barcode: those of another keyboard's layout, above all."""
TOLD = {"item": "item", "lot": "lot", "made_on": "production date", "serial": "serial number", "quantity": "quantity"}
SURE = ("day", "month", "best-before")
OF_DATES = ("best-before", "no-day-in-code")
"""What is found odd about an expiry."""


def scanned(text: str, today: date) -> Scanned:
    """Reads one scan. Raises: Refused, with the field that is wrong."""
    text = text.strip("\r\n\t\x00")
    if len(text) > LONGEST:
        raise bad_code("barcode", text[:20] + "…", f"more than {LONGEST} signs are no barcode")
    stray = STRAY.search(text)
    if stray is not None:
        raise bad_code("sign", stray[0], "no barcode has it; is the scanner set to this keyboard's language?")
    prefix = re.match(r"\][A-Za-z][0-9A-Za-z]", text)
    bare = text[prefix.end() :] if prefix else text
    starred = re.fullmatch(r"\s*\*(\+.+)\*\s*", bare)
    bare = starred[1] if starred else bare.lstrip(" ")
    if bare.startswith("+"):
        return hibc(bare, today)
    if not bare.strip():
        raise Refused("no-code", "nothing was scanned", "hold the scanner over the barcode again")
    told = "" if prefix is None else prefix[0]
    return gs1(bare.strip(" "), today, fields=told in FIELDS, number=told.startswith(NUMBERS))


def one_box(pieces: Sequence[Scanned]) -> Scanned:
    """The barcodes of one box as one: the two halves of an HIBC label, or GS1 codes that each say a part.

    Raises: Refused where they do not belong together, or contradict each other.
    """
    first, *more = pieces
    for second in more:
        if first.standard != second.standard:
            raise Refused(
                "other-box", "one barcode is GS1, the other HIBC", "one of the two is enough: scan that alone"
            )
        first = joined(first, second) if first.standard == "HIBC" else _either(first, second)
    return first


def joined(first: Scanned, second: Scanned) -> Scanned:
    """The primary and the secondary half of one HIBC label, in either order.

    Raises: Refused where they are not two such halves, or the link between them does not hold.
    """
    primary, secondary = (first, second) if first.link is None else (second, first)
    if primary.check is None or primary.link is not None or secondary.link is None:
        raise Refused("no-halves", "these two barcodes are not the two halves of one label", "scan one label at a time")
    if primary.check != secondary.link:
        raise Refused(
            "other-box", f'the second barcode belongs to another label (its link is "{secondary.link}", not "{primary.check}")',
            "scan both barcodes of the same box",
        )  # fmt: skip
    return replace(secondary, item=primary.item, link=None)


def _either(first: Scanned, second: Scanned) -> Scanned:
    """Two GS1 codes of one box, each in the reading in which they do not contradict each other; in both where both do not."""
    if first.suspect is None and second.suspect is None:
        return _both(first, second)
    readings = []
    for pair in ((first, second), (first.suspect or first, second.suspect or second)):
        try:
            readings.append(_both(*pair))
        except Refused as fault:
            refused = fault
    if not readings:
        raise refused
    if len(readings) == 2:
        return replace(readings[0], suspect=readings[1])
    return replace(readings[0], findings=tuple(f for f in readings[0].findings if f.slug != "lost-separator"))


def _both(first: Scanned, second: Scanned) -> Scanned:
    """Two GS1 codes of one box. An expiry outweighs a best-before date, and a day the month that it lies in."""
    whole: dict[str, object] = {}
    for name, noun in TOLD.items():
        one, other = getattr(first, name), getattr(second, name)
        if one is not None and other is not None and one != other:
            raise _apart(noun, one, other)
        whole[name] = other if one is None else one
    dated = sorted((x for x in (first, second) if x.expiry), key=lambda x: SURE.index(x.expiry_is))
    if len(dated) == 2 and not _agree(*dated):
        raise _apart("expiry", first.expiry, second.expiry)
    if dated:
        whole |= {"expiry": dated[0].expiry, "expiry_is": dated[0].expiry_is}
    found = [f for x in (first, second) for f in x.findings if x in dated[:1] or f.slug not in OF_DATES]
    return replace(first, suspect=None, findings=tuple(found), **whole)  # type: ignore[arg-type]


def _agree(sure: Scanned, other: Scanned) -> bool:
    assert sure.expiry is not None and other.expiry is not None
    if sure.expiry == other.expiry or other.expiry_is == "best-before" != sure.expiry_is:
        return True
    return other.expiry_is == "month" and (sure.expiry.year, sure.expiry.month) == (
        other.expiry.year,
        other.expiry.month,
    )


def _apart(noun: str, one: object, other: object) -> Refused:
    return Refused(
        "other-box", f'one barcode says {noun} "{one}", the other "{other}"', "scan the barcodes of one box at a time"
    )
