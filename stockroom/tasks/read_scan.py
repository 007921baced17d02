"""What a barcode and what a person says beside it make together: a product, a lot, an expiry, a number of pieces.

What a person says fills in what the barcode leaves open or doubtful; where both say it and differ, neither is believed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from stockroom.core.practice import Practice, Product
from stockroom.core.records import Finding
from stockroom.core.units import count, quoted_lot
from stockroom.errors import Refused
from stockroom.formats.scanned_code import Scanned
from stockroom.tasks.places import product_named
from stockroom.tasks.receive import Told
from stockroom.tasks.tie_code import Tie


@dataclass(frozen=True, slots=True)
class Box:
    """What was in one's hands: one lot of a product, so many pieces, and what is odd about its barcode."""

    product: str
    lot: str
    expiry: date
    pieces: int
    findings: tuple[Finding, ...] = ()


def box(scan: Scanned, told: Told, practice: Practice, known: Mapping[str, Tie]) -> Box:
    """What a barcode and a person say. ``known``: barcodes by their item's number.

    Raises: Refused for what neither says, what a lost separator leaves in doubt, and what they contradict each other in.
    """
    product, units = _product(scan, told, practice, known)
    if scan.suspect is not None:
        scan = _reading(scan, scan.suspect, told)
    return Box(
        product.code,
        _lot(scan, told),
        _expiry(scan, told),
        _pieces(scan, told, product, units),
        _odd(scan, told, units),
    )


def gaps(scan: Scanned, told: Told, known: Mapping[str, Tie]) -> tuple[str, ...]:
    """What a person has to be asked for: product, reading (which of two), lot, expiry."""
    found = []
    if told.product is None and (scan.item is None or scan.item not in known):
        found.append("product")
    if scan.suspect is not None and told.lot is None:
        found.append("reading")
    elif scan.lot is None and told.lot is None:
        found.append("lot")
    if scan.expiry is None and told.expiry is None and "reading" not in found:
        found.append("expiry")
    return tuple(found)


def _reading(scan: Scanned, other: Scanned, told: Told) -> Scanned:
    """Which of two readings a person's words decide for. Raises: Refused where they decide for neither."""
    if told.lot is None or (told.expiry is None and scan.expiry is None):
        doubt = next(f.what for f in scan.findings if f.slug == "lost-separator")
        lot = "" if other.lot is None else f" --lot {quoted_lot(other.lot)}"
        expiry = f" --expiry {other.expiry}" if scan.expiry is None and other.expiry else ""
        raise Refused("lost-separator", doubt, f"look at the box; if so:{lot}{expiry}")
    lots = [x for x in (scan.lot, other.lot) if x is not None]
    lot = told.lot.strip()
    if lots and lot not in lots:
        raise _contradiction("lot", '" or "'.join(dict.fromkeys(lots)), told.lot)
    if lot == other.lot and (lot != scan.lot or told.expiry == other.expiry):
        return other
    rest = tuple(f for f in scan.findings if f.slug != "lost-separator")
    return replace(scan, suspect=None, findings=rest)


def _product(scan: Scanned, told: Told, practice: Practice, known: Mapping[str, Tie]) -> tuple[Product, int | None]:
    """The product, and the pieces that its barcode stands for; None where only a person names the product."""
    said = None if told.product is None else product_named(practice, told.product)
    tie = known.get(scan.item) if scan.item else None
    if tie is None or practice.product(tie.product) is None:
        if said is not None:
            return said, None
        if scan.item is None:
            raise Refused(
                "no-item-in-code",
                "the barcode names no item",
                "scan the other one of the box as well, or name the product",
            )
        was = f": it was {tie.product}, which the practice file has no more" if tie else ""
        remedy = f"tie it to a product once: stockroom stock code {scan.item} PRODUCT --units N"
        raise Refused("unknown-code", f"nobody has said yet what {scan.item} is{was}", remedy)
    if said is not None and said.code != tie.product:
        raise _contradiction("product", f"{tie.product} ({tie.code})", said.code)
    return product_named(practice, tie.product), tie.units


def _lot(scan: Scanned, told: Told) -> str:
    if scan.lot is None:
        if told.lot is None:
            raise Refused(
                "no-lot-in-code",
                "the barcode has no lot",
                "add --lot as printed, or --scan the other barcode of the box too",
            )
        return told.lot
    if told.lot is not None and told.lot.strip() != scan.lot:
        raise _contradiction("lot", scan.lot, told.lot)
    return scan.lot


def _expiry(scan: Scanned, told: Told) -> date:
    if told.expiry is None:
        if scan.expiry is None:
            raise Refused("no-expiry-in-code", "the barcode has no expiry", "add --expiry DAY as printed")
        return scan.expiry
    same_month = scan.expiry and (scan.expiry.year, scan.expiry.month) == (told.expiry.year, told.expiry.month)
    sure = scan.expiry_is == "day" or (scan.expiry_is == "month" and not same_month)
    if scan.expiry is not None and sure and told.expiry != scan.expiry:
        raise _contradiction("expiry", scan.expiry, told.expiry)
    return told.expiry


def _pieces(scan: Scanned, told: Told, product: Product, units: int | None) -> int:
    said = told.quantity if told.packs is None else told.packs * product.pack_size
    if told.quantity is not None and told.packs is not None:
        raise Refused(
            "which-quantity", "say how many came once", "give --quantity (single pieces) or --packs, not both"
        )
    if units is None:
        # Of a code that nobody has tied, a count may be one of packs.
        if said is None:
            raise Refused(
                "which-quantity", f"nobody has said how many {product.code} this barcode stands for", "add --quantity N"
            )
        return said
    if scan.quantity is None:
        return units if said is None else said
    if said is not None and said != scan.quantity * units:
        raise _contradiction("quantity", scan.quantity * units, said)
    return scan.quantity * units


def _odd(scan: Scanned, told: Told, units: int | None) -> tuple[Finding, ...]:
    """What to know about the barcode, without what a person has cleared up."""
    cleared = set() if told.expiry is None else {"best-before", "no-day-in-code"}
    found = [f for f in scan.findings if f.slug not in cleared]
    if scan.quantity and units and units > 1:
        what = f"the barcode counts {scan.quantity}, each of {count(units, 'piece')}"
        found.append(Finding("packs-in-code", what))
    return tuple(found)


def _contradiction(field: str, scanned: object, typed: object) -> Refused:
    return Refused(
        "code-contradicts", f'the barcode says {field} "{scanned}", you say "{typed}"',
        "look at the box: scan the right one, or leave the option out",
    )  # fmt: skip
