"""What a hand scanner typed: which standard it is, without its symbology prefix, and the two halves of a label joined."""

import re
from dataclasses import replace
from datetime import date

from stockroom.errors import Refused
from stockroom.formats.gs1_code import gs1
from stockroom.formats.hibc_code import hibc
from stockroom.formats.scanned_code import Scanned, bad_code

LONGEST = 400
FIELDS = ("]C1", "]e0", "]e1", "]e2", "]d2", "]Q3", "]J1")
"""Symbology prefixes (ISO/IEC 15424) that say that GS1 fields follow."""


def scanned(text: str, today: date) -> Scanned:
    """Reads one scan. Raises: Refused, with the field that is wrong."""
    text = text.strip("\r\n\t\x00")
    if len(text) > LONGEST:
        raise bad_code("barcode", text[:20] + "…", f"more than {LONGEST} signs are no barcode")
    prefix = re.match(r"\][A-Za-z][0-9A-Za-z]", text)
    bare = text[prefix.end() :] if prefix else text
    starred = re.fullmatch(r"\s*\*(\+.+)\*\s*", bare)
    bare = starred[1] if starred else bare.lstrip(" ")
    if bare.startswith("+"):
        return hibc(bare, today)
    if not bare.strip():
        raise Refused("no-code", "nothing was scanned", "hold the scanner over the barcode again")
    return gs1(bare.strip(" "), today, fields=prefix is not None and prefix[0] in FIELDS)


def joined(first: Scanned, second: Scanned) -> Scanned:
    """The primary and the secondary half of one HIBC label, in either order.

    Raises: Refused where they are not two such halves, or the link between them does not hold.
    """
    primary, secondary = (first, second) if first.link is None else (second, first)
    if primary.item is None or primary.link is not None or secondary.link is None:
        raise Refused("no-halves", "these two barcodes are not the two halves of one label", "scan one label at a time")
    if primary.check != secondary.link:
        raise Refused(
            "other-label", f'the second barcode belongs to another label (its link is "{secondary.link}", not "{primary.check}")',
            "scan both barcodes of the same box",
        )  # fmt: skip
    return replace(secondary, item=primary.item, check=primary.check)
