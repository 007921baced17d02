"""Which product a barcode stands for: what the practice file lists, and what a person tied to it on the spot.

The practice file comes first: what it lists is changed there. Of several ties the last one counts.
"""

import json
import re
from dataclasses import dataclass
from datetime import date

from stockroom.core.practice import Practice, Product
from stockroom.core.stock import FOREVER
from stockroom.core.units import count
from stockroom.errors import Refused
from stockroom.formats.scan import scanned
from stockroom.formats.scanned_code import HIBC_ITEM
from stockroom.store import Link, practices
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.places import product_named

SUBJECT = "barcode "
"""What a tie is remembered under, with the item's number behind it."""
MOST = 1_000_000
"""Pieces that one barcode may stand for."""


@dataclass(frozen=True, slots=True)
class Tie:
    """An item's number (a GTIN of 14 digits, or an HIBC labeller, item and unit digit), its product, pieces of it."""

    code: str
    product: str
    units: int
    listed: bool = False
    """True where the practice file says so."""


def ties(conn: Link, practice: Practice, until: int = FOREVER) -> dict[str, Tie]:
    """Every barcode that is known, by its item's number."""
    found = {}
    for code, text in practices.remembered_under(conn, SUBJECT, until).items():
        said = json.loads(text)
        found[code] = Tie(code, said["product"], said["units"])
    for product in practice.products:
        found |= {i.code: Tie(i.code, product.code, i.units, listed=True) for i in product.trade_items}
    return found


def item_in(text: str, today: date) -> str:
    """The item's number of what was typed or scanned. Raises: Refused where it names no item."""
    bare = text.strip()
    if re.fullmatch(HIBC_ITEM, bare):
        return bare
    item = scanned(text, today).item
    if item is None:
        raise Refused("no-item-in-code", "this barcode names no item", "scan the one with the item's number")
    return item


def tie_code(store: Store, act: Act, text: str, product: str, units: int | None) -> Recorded:
    """Remembers what a barcode stands for. Raises: Refused for a code that cannot be read or that the file lists."""
    with recording(store, act, "code") as rec:
        code = item_in(text, rec.rules.opening(rec.rules.practice.sites[0].name).day(rec.act.at))
        found = product_named(rec.rules.practice, product)
        tie = Tie(code, found.code, pieces_of(found, units, code))
        rec.book.what = remember(rec, tie)
        rec.fields |= {"code": tie.code, "product": tie.product, "units": tie.units}
    return rec.done()


def remember(rec: Recording, tie: Tie) -> str:
    """Appends a tie; returns it in a sentence. Raises: Refused where the practice file lists the code."""
    before = ties(rec.conn, rec.rules.practice).get(tie.code)
    if before is not None and before.listed:
        what = f"the practice file lists {tie.code} as {before.units} x {before.product}"
        raise Refused("code-in-file", what, "change it there: stockroom practice load PRACTICE.toml")
    if before is not None and (before.product, before.units) != (tie.product, tie.units):
        rec.note("tied-anew", f"until now {tie.code} was {before.units} x {before.product}")
    practices.remember(rec.book, f"{SUBJECT}{tie.code}", json.dumps({"product": tie.product, "units": tie.units}))
    return f"barcode {tie.code} is {tie.units} x {tie.product}"


def pieces_of(product: Product, units: int | None, code: str) -> int:
    """How many pieces a barcode stands for. Raises: Refused where packs could be meant, or beyond a million."""
    if units is None and product.pack_size > 1:
        raise Refused(
            "which-units", f"a pack of {product.code} holds {count(product.pack_size, 'piece')}: how many does {code} stand for?",
            f"--units 1 for a single piece, --units {product.pack_size} for a pack",
        )  # fmt: skip
    if units is not None and not 1 <= units <= MOST:
        raise Refused("bad-quantity", f"{units} pieces cannot be", f"give 1 to {MOST}")
    return units or 1
