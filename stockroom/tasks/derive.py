"""The spells, silences and day summaries of a fridge: found once, kept beside its readings, mended where those are new.

Whoever looks asks ``kept``; whoever records new readings calls ``mended``; whoever may have changed rules or stock
calls ``ensured``. Where nothing is kept the answer is computed on the spot and is the same.
"""

from collections.abc import Iterable, Sequence

import numpy as np

from stockroom.core.days import DAY
from stockroom.core.excursions import Found, found_silences, found_spells
from stockroom.core.opening import merged
from stockroom.core.spells import Ints, widened
from stockroom.core.stock import FOREVER
from stockroom.store import Link, derived, fridges
from stockroom.store.derived import Scan
from stockroom.tasks.shelves import LotNow
from stockroom.tasks.stretch import Stretch, reading_before, stretch
from stockroom.tasks.sum_days import sum_up
from stockroom.tasks.watch import GAP, Span, line_of, watched

ALWAYS = (-1_000_000_000, 1_000_000_000)
"""Days, as numbers that any database takes."""


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
            return out + found_spells(at, milli, line_of(scan), scan.max_gap, scan.settle)
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


def computed(conn: Link, key: int, scan: Scan, whole: Stretch | None = None) -> list[Found]:
    """The spells or silences on a line from the readings themselves (all of them in ``whole``, where given)."""
    if scan.direction == GAP:
        at = whole.at if whole is not None else fridges.series(conn, key, scan.start, _reach(conn, key, scan.end))[0]
        return [f for f in found_silences(at, scan.max_gap) if scan.start <= f.spell.start < scan.end]
    begin = max(scan.start, scan.since)
    if begin > scan.start:
        # Reach back to where nothing was going on, so that what lasted when it began to matter is whole.
        before = reading_before(conn, key, begin + 1)
        begin = max(scan.start, begin if before is None else before)
    at, milli = whole.clipped(begin, scan.end) if whole is not None else fridges.series(conn, key, begin, scan.end - 1)
    if at.size and begin > scan.start:
        around = Stretch(conn, key, at, milli, reading_before(conn, key, int(at[0])), None)
        first, _ = _window(around, scan, max(scan.since, int(at[0])), int(at[-1]))
        at, milli = around.clipped(max(first, scan.start), scan.end)
    return found_spells(at, milli, line_of(scan), scan.max_gap, scan.settle) if at.size else []


def _reach(conn: Link, key: int, end: int) -> int:
    after = fridges.first_reading(conn, key, end)
    return end if after is None else after


def _window(around: Stretch, scan: Scan, first: int, last: int) -> tuple[int, int]:
    """The window to recompute on a line where the readings in [first, last] are new; ``around`` grows to hold it."""
    while True:
        at, milli = around.clipped(scan.start, scan.end)
        if not at.size:
            return first, last
        start, end = widened(first, last, at, milli, [line_of(scan)], scan.max_gap, scan.settle)
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
    if _by_gap(have.values()) != _by_gap(wanted) and reading_before(conn, key, FOREVER) is not None:
        whole = Stretch(conn, key, *fridges.series(conn, key), None, None)
        derived.keep_days(conn, key, [], 0, *ALWAYS)
        sum_up(whole, name, rule_spans, int(whole.at[0]) // DAY, int(whole.at[-1]) // DAY)
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
            found = found_spells(*inside, line_of(scan), scan.max_gap, scan.settle)
            derived.keep_spells(conn, key, scan, found, begin, end)
            changed = min(changed, begin)
    gap = max((f.max_gap_minutes * 60 for _, _, p in rule_spans if (f := p.fridge(name))), default=0)
    sum_up(around, name, rule_spans, (first - gap) // DAY, (last + gap) // DAY)
    return changed


def _mend_silences(around: Stretch, scan: Scan, first: int, last: int) -> int:
    a = max(int(np.searchsorted(around.at, first)) - 1, 0)
    b = int(np.searchsorted(around.at, last, side="right")) + 1
    near = around.at[a:b]
    found = [f for f in found_silences(near, scan.max_gap) if scan.start <= f.spell.start < scan.end]
    derived.keep_spells(around.conn, around.key, scan, found, int(near[0]), last)
    return int(near[0])
