"""A delivery scanned box after box: what each scan adds, and what is still waited for. Nothing is recorded here."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date

from stockroom.core.practice import Practice
from stockroom.core.records import Finding
from stockroom.errors import Refused
from stockroom.formats.scan import one_box, scanned
from stockroom.formats.scanned_code import Scanned
from stockroom.tasks.read_scan import Box, box, gaps
from stockroom.tasks.receive import Told
from stockroom.tasks.tie_code import Tie

Line = tuple[str, str, date]
"""(product, lot, expiry)."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A scan that does not count, why, and what to do."""

    text: str
    why: str
    todo: str


@dataclass(slots=True)
class Run:
    """What was scanned so far. ``pieces`` and ``findings`` by line."""

    practice: Practice
    known: dict[str, Tie]
    today: date
    answer: Callable[[Scanned], Told] = lambda _: Told()
    """Asks a person for what a box's barcode leaves open."""
    pieces: dict[Line, int] = field(default_factory=dict)
    findings: dict[Line, tuple[Finding, ...]] = field(default_factory=dict)
    left_out: list[LeftOut] = field(default_factory=list)
    waiting: list[Scanned] = field(default_factory=list)
    """Barcodes of a box that do not say everything yet."""
    counted: list[tuple[Line, int, str | None]] = field(default_factory=list)
    told: dict[Scanned, Told] = field(default_factory=dict)
    """What was answered about a barcode counts for the same one again."""

    def scan(self, text: str) -> Box | None:
        """Counts what a scan says; None where it is left out, or where another barcode of the box is waited for."""
        try:
            whole = self._with_waiting(scanned(text, self.today))
            return None if whole is None else self._count(whole)
        except Refused as fault:
            self.left_out.append(LeftOut(text, fault.what, fault.todo))
            return None

    def give_up_waiting(self) -> Box | None:
        """Counts the box whose other barcode does not come, by what a person answers; None where it is left out."""
        if not self.waiting:
            return None
        whole, self.waiting = one_box(self.waiting), []
        try:
            return self._count(whole)
        except Refused as fault:
            self.left_out.append(LeftOut(shown(whole), fault.what, fault.todo))
            return None

    def back(self) -> str | None:
        """Takes the last box back; what it was, or None where there is none. A half box that waits goes first."""
        if self.waiting:
            half, self.waiting = one_box(self.waiting), []
            return shown(half)
        if not self.counted:
            return None
        line, pieces, _ = self.counted.pop()
        self.pieces[line] -= pieces
        if not self.pieces[line]:
            del self.pieces[line], self.findings[line]
        return f"{line[0]} lot {line[1]}"

    def _with_waiting(self, new: Scanned) -> Scanned | None:
        """The new barcode with what waits, where it is a whole box then. Raises: Refused where they do not fit."""
        if new in self.waiting:
            return None
        try:
            whole = one_box([*self.waiting, new])
        except Refused as fault:
            if new.item is None:
                raise
            for old in self.waiting:
                self.left_out.append(LeftOut(shown(old), "its other barcode did not come", fault.todo))
            self.waiting, whole = [], new
        done = {"lot", "expiry"}.isdisjoint(gaps(whole, self.told.get(bare(whole), Told()), self.known))
        if whole.item is not None and done:
            self.waiting = []
            return whole
        self.waiting.append(new)
        return None

    def _count(self, whole: Scanned) -> Box:
        key = bare(whole)
        told = self.told.get(key, Told())
        if gaps(whole, told, self.known):
            told = self.answer(whole)
        found = box(whole, told, self.practice, self.known)
        if whole.lot is not None:
            self.told[key] = replace(told, product=None)
        line = (found.product, found.lot, found.expiry)
        if whole.serial is not None and any(s == whole.serial and old == line for old, _, s in self.counted):
            raise Refused(
                "same-box",
                f"serial number {whole.serial} was scanned already",
                "each box has its own: scan the next one",
            )
        self.pieces[line] = self.pieces.get(line, 0) + found.pieces
        self.counted.append((line, found.pieces, whole.serial))
        self.findings[line] = tuple(dict.fromkeys((*self.findings.get(line, ()), *found.findings)))
        return found


def bare(scan: Scanned) -> Scanned:
    """A barcode as it is compared with one scanned later: without what was found odd about it."""
    return replace(scan, findings=(), serial=None, suspect=scan.suspect and bare(scan.suspect))


def shown(scan: Scanned) -> str:
    """A barcode in a few words."""
    said = [scan.item, scan.lot and f"lot {scan.lot}", scan.expiry and scan.expiry.isoformat()]
    return ", ".join(x for x in said if x) or scan.standard
