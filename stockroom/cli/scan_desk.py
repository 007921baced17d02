"""What is asked at a terminal about a barcode that does not say everything."""

import shutil
import sys
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, TypeVar

from stockroom.cli.job import Job
from stockroom.cli.output import plain
from stockroom.core.units import few, whole
from stockroom.core.when import day_text
from stockroom.errors import Refused
from stockroom.formats.stock_csv import expiry_day
from stockroom.tasks.against_order import order_it_fits
from stockroom.tasks.places import place_named, product_named
from stockroom.tasks.read_scan import gaps
from stockroom.tasks.receive import Told
from stockroom.tasks.tie_code import Tie, pieces_of, ties

if TYPE_CHECKING:
    from stockroom.core.practice import Practice, Product
    from stockroom.formats.scanned_code import Scanned
    from stockroom.tasks.act import Act
    from stockroom.tasks.receive import Delivery

T = TypeVar("T")


@dataclass(slots=True)
class Desk:
    """Where boxes are scanned: what barcodes stand for, and who can be asked. ``today``: the delivery's local day."""

    job: Job
    act: "Act"
    practice: "Practice"
    known: dict[str, Tie]
    today: date
    tied: list[Tie] = field(default_factory=list)
    """What was said on the spot; recorded with the delivery."""

    def answered(self, scan: "Scanned", told: Told) -> Told:
        """What a person adds to what a barcode leaves open. Nobody is there: nothing. Raises: Refused without an answer."""
        if not self.job.at_terminal:
            return told
        asking = {"product": self._product, "reading": self._reading, "lot": self._lot, "expiry": self._expiry}
        for gap in gaps(scan, told, self.known):
            told = asking[gap](scan, told)
        return told

    def _product(self, scan: "Scanned", told: Told) -> Told:
        codes = few([p.code for p in self.practice.products], 8)
        product = self._read(f"Which product is {scan.item or 'it'} ({codes})?", self._named)
        if scan.item is None:
            return replace(told, product=product.code, quantity=self._read("How many pieces came?", whole))
        packs = f"A pack of {product.code} holds {product.pack_size}. " if product.pack_size > 1 else ""
        units = self._read(f"{packs}How many pieces does its barcode stand for?", whole)
        tie = Tie(scan.item, product.code, pieces_of(product, units, scan.item))
        self.known[scan.item] = tie
        self.tied.append(tie)
        return told

    def _named(self, text: str) -> "Product":
        return product_named(self.practice, text)

    def _reading(self, scan: "Scanned", told: Told) -> Told:
        assert scan.suspect is not None
        say("The scanner seems to have dropped a separator. What does the box show?")
        for number, read in enumerate((scan.suspect, scan), 1):
            expires = "no expiry" if read.expiry is None else f"expires {day_text(read.expiry)}"
            say(f"  {number}  lot {read.lot or '(none)'}, {expires}")
        if self._read("1 or 2?", _one_or_two) == 1 and scan.suspect.lot:
            told = replace(told, lot=scan.suspect.lot, expiry=told.expiry or scan.suspect.expiry)
        else:
            told = replace(told, lot=scan.lot) if scan.lot else self._lot(scan, told)
        return told if told.expiry or scan.expiry else self._expiry(scan, told)

    def _lot(self, scan: "Scanned", told: Told) -> Told:
        return replace(told, lot=self._read("The barcode has no lot. Lot, as printed?", str))

    def _expiry(self, scan: "Scanned", told: Told) -> Told:
        return replace(told, expiry=self._read("The barcode has no expiry. Expiry, such as 2027-01-31?", expiry_day))

    def _read(self, question: str, reader: Callable[[str], T]) -> T:
        """Asks until the answer can be read; Enter leaves the box out. Raises: Refused."""
        while text := self.job.asked(question):
            try:
                return reader(text)
            except Refused as fault:
                say(f"{fault.what}; {fault.todo}", "  ")
        raise Refused(
            "box-left-out", "no answer: this box is left out", "type it in: stockroom stock receive PRODUCT --lot …"
        )

    def orders(self, products: list[str], rest: "Delivery") -> dict[str, str]:
        """Product -> the open order (O-3) that it fits, where a person says that the delivery is of it."""
        found: dict[str, str] = {}
        if rest.order is not None or rest.lender is not None or not self.job.at_terminal:
            return found
        for product in dict.fromkeys(products):
            fits = order_it_fits(self.job.store(), self.act.at, product, rest.into)
            if fits is not None:
                found[product] = fits
        for order in dict.fromkeys(found.values()):
            named = [p for p, o in found.items() if o == order]
            verb = "is" if len(named) == 1 else "are"
            if not self.job.ask(f"{few(named, 8)} {verb} still to come of {order}. Is this delivery of it?"):
                found = {p: o for p, o in found.items() if o != order}
        return found


def desk(job: Job, into: str) -> Desk:
    """What is known before the first scan. Raises: Refused for an unknown place, or where nobody says who records."""
    act = job.act()
    practice = job.rules().practice
    place_named(practice, into)
    with job.store().reading() as conn:
        known = ties(conn, practice)
    return Desk(job, act, practice, known, datetime.fromtimestamp(act.at, job.zone()).date())


def say(text: str, lead: str = "") -> None:
    """A line for the person who scans, folded to the screen behind ``lead``; results alone go to standard output."""
    text = lead + plain(text)
    if sys.stderr.isatty():
        width = max(60, shutil.get_terminal_size().columns)
        text = textwrap.fill(text, width, subsequent_indent=" " * len(lead), drop_whitespace=True)
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def _one_or_two(text: str) -> int:
    if text not in ("1", "2"):
        raise Refused("bad-choice", f'"{text}" is neither', "type 1 or 2, or Enter to leave the box out")
    return int(text)
