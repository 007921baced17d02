"""Which lines of a fridge matter, and over which spans of rules: its own limits, what stood there, its silences."""

from collections.abc import Iterable, Sequence

from stockroom.core.excursions import lines_of
from stockroom.core.practice import Fridge, Practice
from stockroom.core.spells import Line
from stockroom.core.stock import FOREVER
from stockroom.store.derived import Scan
from stockroom.tasks.shelves import LotNow

Span = tuple[int, int, Practice]
GAP = "gap"


def watched(name: str, rule_spans: Sequence[Span], lots: Sequence[LotNow]) -> list[Scan]:
    """Every line that could matter in a fridge: its own limits always, a product's from when it first stood there."""
    stood_since: dict[str, int] = {}
    for now in lots:
        for parcel in now.state.parcels:
            for stay in parcel.path():
                if stay.place == name:
                    code = now.lot.product
                    stood_since[code] = min(stay.start, stood_since.get(code, stay.start))
    active: dict[tuple[str, int], list[tuple[int, int, Fridge]]] = {}
    since: dict[tuple[str, int], int] = {}
    for start, end, practice in rule_spans:
        fridge = practice.fridge(name)
        if fridge is None:
            continue
        active.setdefault((GAP, 0), []).append((start, end, fridge))
        since[GAP, 0] = -FOREVER
        for line, first in _lines(fridge, practice, stood_since).items():
            key = (line.direction, line.limit)
            active.setdefault(key, []).append((start, end, fridge))
            since[key] = min(first, since.get(key, first))
    return [
        Scan(
            direction, limit, start, end, fridge.max_gap_minutes * 60,
            0 if direction == GAP else fridge.settle_minutes * 60, since[direction, limit],
        )
        for (direction, limit), spans in active.items()
        for start, end, fridge in _joined(spans, direction)
    ]  # fmt: skip


def _lines(fridge: Fridge, practice: Practice, stood_since: dict[str, int]) -> dict[Line, int]:
    """Line -> from when on it matters."""
    found = dict.fromkeys(lines_of(fridge, []), -FOREVER)
    for code, since in stood_since.items():
        product = practice.product(code)
        if product is not None and product.keep is not None:
            for line in lines_of(fridge, [(product.keep.low, product.keep.high)]):
                found[line] = min(since, found.get(line, since))
    return found


def _joined(spans: Iterable[tuple[int, int, Fridge]], direction: str) -> list[tuple[int, int, Fridge]]:
    """Neighbouring spans in which what matters to a line stayed the same are one."""
    out: list[tuple[int, int, Fridge]] = []
    for start, end, fridge in spans:
        if out and out[-1][1] == start:
            old = out[-1][2]
            settles = direction == GAP or old.settle_minutes == fridge.settle_minutes
            if old.max_gap_minutes == fridge.max_gap_minutes and settles:
                out[-1] = (out[-1][0], end, old)
                continue
        out.append((start, end, fridge))
    return out


def line_of(scan: Scan) -> Line:
    """The line of a scan that is no silence."""
    return Line("warm" if scan.direction == "warm" else "cold", scan.limit)
