"""The spells, silences and day summaries of a fridge: found once, kept beside its readings, mended where those are new.

Whoever looks asks ``kept``; whoever records new readings calls ``mended``; whoever may have changed rules or stock
calls ``ensured``. Where nothing is kept the answer is computed on the spot and is the same.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.days import DAY, Day, days_of
from stockroom.core.excursions import Found, found_silences, found_spells, lines_of
from stockroom.core.opening import merged
from stockroom.core.practice import Fridge, Practice
from stockroom.core.spells import Ints, Line, widened
from stockroom.core.stock import FOREVER
from stockroom.core.units import degrees
from stockroom.store import Link, derived, fridges, ledger
from stockroom.store.derived import Scan
from stockroom.store.engine import Store
from stockroom.tasks.rules import spans
from stockroom.tasks.shelves import LotNow, lots_now, stood

Span = tuple[int, int, Practice]
GAP = "gap"
BLOCK = 2 * DAY
ALWAYS = (-1_000_000_000, 1_000_000_000)
"""Days, as numbers that any database takes."""


@dataclass(slots=True)
class Stretch:
    """Readings of a fridge without a hole: some, and as many before and after them as somebody had to look at."""

    conn: Link
    key: int
    at: Ints
    milli: Ints
    back_to: int | None
    """The instant of the reading before; None where there is none."""
    forth_to: int | None
    block: int = BLOCK

    def back(self) -> None:
        """Takes in the readings before."""
        if self.back_to is not None:
            at, milli = fridges.series(self.conn, self.key, self.back_to - self.block, self.back_to)
            self.at, self.milli = np.concatenate((at, self.at)), np.concatenate((milli, self.milli))
            self.back_to = _before(self.conn, self.key, int(at[0]))
            self.block *= 4

    def forth(self) -> None:
        """Takes in the readings after."""
        if self.forth_to is not None:
            at, milli = fridges.series(self.conn, self.key, self.forth_to, self.forth_to + self.block)
            self.at, self.milli = np.concatenate((self.at, at)), np.concatenate((self.milli, milli))
            self.forth_to = fridges.first_reading(self.conn, self.key, int(at[-1]) + 1)
            self.block *= 4

    def clipped(self, start: int, end: int) -> tuple[Ints, Ints]:
        """The readings in [start, end)."""
        a, b = np.searchsorted(self.at, [start, end])
        return self.at[a:b], self.milli[a:b]


def _before(conn: Link, key: int, at: int) -> int | None:
    row = fridges.last_reading(conn, key, at - 1)
    return None if row is None else row[0]


def stretch(conn: Link, key: int, at: Ints, milli: Ints) -> Stretch:
    """Some readings of a fridge and their neighbours; ``at`` is all there is between its first and its last."""
    found = Stretch(
        conn, key, at, milli, _before(conn, key, int(at[0])), fridges.first_reading(conn, key, int(at[-1]) + 1)
    )
    found.back()
    found.forth()
    return found


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


def kept(
    conn: Link, key: int, wanted: Sequence[Scan], *, since: int = -FOREVER, until: int = FOREVER
) -> list[tuple[Scan, list[Found]]]:
    """The spells and silences on each line as they were known at ``until``, but for those over before ``since``."""
    have, rows = derived.scans(conn, key), derived.spells(conn, key, since, until)
    newest = fridges.last_reading(conn, key)
    out = []
    for scan in wanted:
        mine = have.get(scan.key)
        found = rows.get(scan.key, []) if mine is not None and mine.serves(scan) else computed(conn, key, scan)
        if newest is not None and until < newest[0]:
            found = _known_by(conn, key, scan, found, until)
        out.append((scan, [f for f in found if f.spell.end is None or f.spell.end >= since]))
    return out


def _known_by(conn: Link, key: int, scan: Scan, found: Sequence[Found], until: int) -> list[Found]:
    """What was known of spells at ``until``: from the first that was not over by then all are found anew."""
    if scan.direction == GAP:
        return [f for f in found if f.spell.last_out <= until]
    out: list[Found] = []
    for f in found:
        after, before = f.spell.at_most_to, f.spell.at_most_from
        if after is None or after > until:
            start = f.spell.first_out if before is None else before
            at, milli = fridges.series(conn, key, start, min(until, scan.end - 1))
            return out + found_spells(at, milli, _line(scan), scan.max_gap, scan.settle)
        out.append(f)
    return out


def lasts(conn: Link, key: int, roof: int) -> bool:
    """True where the last reading of a fridge, or its last check by hand, was above ``roof``."""
    newest = fridges.last_reading(conn, key)
    checked = fridges.last_check(conn, key)
    return any(seen is not None and seen[1] > roof for seen in (newest, checked))


def silences(conn: Link, key: int, first: int, last: int) -> list[tuple[int, int]]:
    """(start, end) of the kept silences that share any time with [first, last], in order."""
    rows = derived.spells(conn, key, first, last)
    return sorted((f.spell.start, f.spell.last_out) for k, found in rows.items() if k[0] == GAP for f in found)


def _line(scan: Scan) -> Line:
    return Line("warm" if scan.direction == "warm" else "cold", scan.limit)


def computed(conn: Link, key: int, scan: Scan, whole: Stretch | None = None) -> list[Found]:
    """The spells or silences on a line from the readings themselves (all of them in ``whole``, where given)."""
    if scan.direction == GAP:
        at = whole.at if whole is not None else fridges.series(conn, key, scan.start, _reach(conn, key, scan.end))[0]
        return [f for f in found_silences(at, scan.max_gap) if scan.start <= f.spell.start < scan.end]
    begin = max(scan.start, scan.since)
    if begin > scan.start:
        # Reach back to where nothing was going on, so that what lasted when it began to matter is whole.
        before = _before(conn, key, begin + 1)
        begin = max(scan.start, begin if before is None else before)
    at, milli = whole.clipped(begin, scan.end) if whole is not None else fridges.series(conn, key, begin, scan.end - 1)
    if at.size and begin > scan.start:
        around = Stretch(conn, key, at, milli, _before(conn, key, int(at[0])), None)
        first, _ = _window(around, scan, max(scan.since, int(at[0])), int(at[-1]))
        at, milli = around.clipped(max(first, scan.start), scan.end)
    return found_spells(at, milli, _line(scan), scan.max_gap, scan.settle) if at.size else []


def _reach(conn: Link, key: int, end: int) -> int:
    after = fridges.first_reading(conn, key, end)
    return end if after is None else after


def _window(around: Stretch, scan: Scan, first: int, last: int) -> tuple[int, int]:
    """The window to recompute on a line where the readings in [first, last] are new; ``around`` grows to hold it."""
    while True:
        at, milli = around.clipped(scan.start, scan.end)
        if not at.size:
            return first, last
        start, end = widened(first, last, at, milli, [_line(scan)], scan.max_gap, scan.settle)
        if around.back_to is not None and around.back_to >= scan.start and start <= int(at[0]):
            around.back()
        elif around.forth_to is not None and around.forth_to < scan.end and end >= int(at[-1]):
            around.forth()
        else:
            return start, end


def ensured(conn: Link, key: int, name: str, rule_spans: Sequence[Span], lots: Sequence[LotNow]) -> list[Scan]:
    """Sees to it that every line that could matter is kept, and no other, and that days were summed by their rules."""
    wanted = watched(name, rule_spans, lots)
    have = derived.scans(conn, key)
    missing = [s for s in wanted if s.key not in have or not have[s.key].serves(s)]
    whole = None
    if _by_gap(have.values()) != _by_gap(wanted) and _before(conn, key, FOREVER) is not None:
        whole = Stretch(conn, key, *fridges.series(conn, key), None, None)
        derived.keep_days(conn, key, [], 0, *ALWAYS)
        _sum_up(whole, name, rule_spans, int(whole.at[0]) // DAY, int(whole.at[-1]) // DAY)
    for scan in missing:
        derived.keep_scan(conn, key, scan)
        derived.keep_spells(conn, key, scan, computed(conn, key, scan, whole))
    for stale in have.keys() - {s.key for s in wanted}:
        derived.drop_scan(conn, key, stale)
    return wanted


def _by_gap(watching: Iterable[Scan]) -> dict[int, list[tuple[int, int]]]:
    """Longest gap in seconds -> when it ruled: whenever a fridge is known, some line of it is watched."""
    found: dict[int, list[tuple[int, int]]] = {}
    for scan in watching:
        found.setdefault(scan.max_gap, []).append((scan.start, scan.end))
    return {gap: list(merged(ruled)) for gap, ruled in found.items()}


def mended(conn: Link, key: int, name: str, rule_spans: Sequence[Span], at: Ints, milli: Ints) -> int:
    """Mends what is kept where readings are new: ``at`` and ``milli`` are all readings from the first new to the last.

    Returns the instant from which on spells and silences may have changed: it may lie before the first new reading.

    A line is computed anew only between the nearest moments before and after at which nothing was going on; outside
    nothing can have changed (see ``core.spells.widened``).
    """
    around = stretch(conn, key, at, milli)
    first, last = int(at[0]), int(at[-1])
    changed = first
    for scan in derived.scans(conn, key).values():
        if scan.direction == GAP:
            changed = min(changed, _mend_silences(around, scan, first, last))
        elif first < scan.end and last >= scan.start:
            begin, end = _window(around, scan, max(first, scan.start), min(last, scan.end - 1))
            inside = around.clipped(max(begin, scan.start), min(end + 1, scan.end))
            found = found_spells(*inside, _line(scan), scan.max_gap, scan.settle)
            derived.keep_spells(conn, key, scan, found, begin, end)
            changed = min(changed, begin)
    gap = max((f.max_gap_minutes * 60 for _, _, p in rule_spans if (f := p.fridge(name))), default=0)
    _sum_up(around, name, rule_spans, (first - gap) // DAY, (last + gap) // DAY)
    return changed


def _mend_silences(around: Stretch, scan: Scan, first: int, last: int) -> int:
    a = max(int(np.searchsorted(around.at, first)) - 1, 0)
    b = int(np.searchsorted(around.at, last, side="right")) + 1
    near = around.at[a:b]
    found = [f for f in found_silences(near, scan.max_gap) if scan.start <= f.spell.start < scan.end]
    derived.keep_spells(around.conn, around.key, scan, found, int(near[0]), last)
    return int(near[0])


def _sum_up(around: Stretch, name: str, rule_spans: Sequence[Span], first: int, last: int) -> None:
    """Keeps the sums of the UTC days ``first`` to ``last``."""
    while around.back_to is not None and around.at[0] >= first * DAY:
        around.back()
    while around.forth_to is not None and around.at[-1] < (last + 1) * DAY:
        around.forth()
    for found, gap, a, b in _summed(around, name, rule_spans, first, last):
        derived.keep_days(around.conn, around.key, found, gap, a, b)


def _summed(
    around: Stretch, name: str, rule_spans: Sequence[Span], first: int, last: int
) -> Iterator[tuple[list[Day], int, int, int]]:
    """(days, longest gap in seconds, first day, last day) of each span of rules: a day goes by those at its beginning."""
    for start, end, practice in rule_spans:
        fridge = practice.fridge(name)
        a, b = max(first, -(-start // DAY)), min(last, (end - 1) // DAY)
        if fridge is None or a > b:
            continue
        i = max(int(np.searchsorted(around.at, a * DAY)) - 1, 0)
        j = int(np.searchsorted(around.at, (b + 1) * DAY)) + 1
        gap = fridge.max_gap_minutes * 60
        yield days_of(around.at[i:j], around.milli[i:j], gap, a, b), gap, a, b


def _fridges(conn: Link) -> list[tuple[str, int]]:
    """(name, key) of every fridge that ever had readings, stock or checks."""
    kinds, names = ledger.place_kinds(conn), ledger.place_names(conn)
    return [(name, key) for key, name in sorted(names.items()) if kinds[name] == "fridge"]


def rebuilt(store: Store, advance: Callable[[str, int, int], None]) -> int:
    """Makes everything that is derived from the readings anew; returns for how many fridges."""
    with store.deriving() as conn:
        found = _fridges(conn)
        derived.keep_spans_anew(conn)
        for done, (name, key) in enumerate(found):
            advance(f"reading {name}", done, len(found))
            derived.forget(conn, key)
            ensured(conn, key, name, spans(conn), stood(lots_now(conn).values(), name))
    return len(found)


def faults(conn: Link, advance: Callable[[str, int, int], None]) -> list[str]:
    """What is kept and does not fit the readings, in words; empty where all of it does."""
    out = [] if derived.spans_fit(conn) else ["which entry brought which readings is not as the readings say"]
    found = _fridges(conn)
    for done, (name, key) in enumerate(found):
        advance(f"checking {name}", done, len(found))
        at, milli = fridges.series(conn, key)
        whole = Stretch(conn, key, at, milli, None, None)
        rows = derived.spells(conn, key)
        for scan in derived.scans(conn, key).values():
            anew, old = computed(conn, key, scan, whole), rows.pop(scan.key, [])
            if _since(anew, scan) != _since(old, scan):
                line = "silences" if scan.direction == GAP else f"spells {scan.direction} of {degrees(scan.limit)}"
                out.append(f"{name}: the {line} that are kept are not as the readings say")
        if rows:
            out.append(f"{name}: spells are kept for a line that nobody watches")
        if at.size and _kept_days(conn, key) not in ({}, _days_anew(whole, name, spans(conn))):
            out.append(f"{name}: the days summed up are not as the readings say")
    return out


def _since(found: Sequence[Found], scan: Scan) -> list[Found]:
    return [f for f in found if f.spell.last_out >= scan.since]


def _kept_days(conn: Link, key: int) -> dict[int, tuple[Day, int]]:
    return {d.number: (d, gap) for d, gap in derived.days(conn, key, *ALWAYS)}


def _days_anew(whole: Stretch, name: str, rule_spans: Sequence[Span]) -> dict[int, tuple[Day, int]]:
    first, last = int(whole.at[0]) // DAY, int(whole.at[-1]) // DAY
    return {d.number: (d, gap) for found, gap, _, _ in _summed(whole, name, rule_spans, first, last) for d in found}
