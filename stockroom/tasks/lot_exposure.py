"""What a lot was exposed to over all the places it stood in, from the days summed up for each fridge.

Only days that are not whole, were not watched throughout, or passed one of the product's limits are opened and read
reading by reading; all others are added up. The figures are the same (parts add up, see ``core.exposure``).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from stockroom.core.days import DAY, Day
from stockroom.core.exposure import Exposure, Part, combined, exposure_of, unmonitored
from stockroom.core.handchecks import Covered, covered
from stockroom.core.opening import merged
from stockroom.core.practice import Keep
from stockroom.store import Link, derived, fridges, ledger
from stockroom.tasks.rules import spans as rule_spans
from stockroom.tasks.shelves import LotNow


def lot_exposure(conn: Link, now: LotNow, as_of: int) -> Exposure:
    """What a lot was exposed to by ``as_of``, wherever any piece of it stood, each place's time counted once."""
    spans: dict[str, list[tuple[int, int]]] = {}
    for parcel in now.state.parcels:
        for stay in parcel.path():
            spans.setdefault(stay.place, []).append((stay.start, as_of if stay.end is None else stay.end))
    parts: list[Part] = []
    ruled = rule_spans(conn)
    for place, times in sorted(spans.items()):
        key = ledger.place_key(conn, place)
        shown = [] if key is None else covered(fridges.hand_checks(conn, key, place, as_of))
        for start, end in merged((a, b) for a, b in times if b > a):
            # Each part of a stay is judged by the rules of its time.
            for first, last, practice in ruled:
                a, b = max(start, first), min(end, last)
                if a >= b:
                    continue
                fridge, product = practice.fridge(place), practice.product(now.lot.product)
                if fridge is None or key is None:
                    parts.append(unmonitored(a, b))
                else:
                    keep = product.keep if product else None
                    parts += _Stay(conn, key, a, b, keep, fridge.max_gap_minutes * 60, shown, as_of).parts()
    return combined(parts).exposure


@dataclass(frozen=True, slots=True)
class _Stay:
    """A stay [start, end) in one fridge under one set of rules."""

    conn: Link
    key: int
    start: int
    end: int
    keep: Keep | None
    max_gap: int
    shown: Sequence[Covered]
    as_of: int

    def parts(self) -> list[Part]:
        """Its whole quiet days as they were summed up, and what lies between them as the readings tell it."""
        first, last = -(-self.start // DAY), self.end // DAY
        # What followed a day within the longest gap belongs to it too: it has to have happened by ``as_of``.
        last = min(last, (self.as_of - self.max_gap) // DAY)
        out: list[Part] = []
        reached = self.start
        for day, gap in derived.days(self.conn, self.key, first, last - 1):
            if gap == self.max_gap and self._quiet(day):
                if day.number * DAY > reached:
                    out.append(self._read(reached, day.number * DAY))
                out.append(day.part)
                reached = (day.number + 1) * DAY
        if reached < self.end:
            out.append(self._read(reached, self.end))
        return out

    def _quiet(self, day: Day) -> bool:
        """True where a day was watched throughout and stayed within the product's limits."""
        low, high = (self.keep.low, self.keep.high) if self.keep else (None, None)
        lowest, highest = day.part.min_milli, day.part.max_milli
        within = lowest is not None and highest is not None
        within = within and (low is None or lowest >= low) and (high is None or highest <= high)  # type: ignore[operator]
        return day.whole and within

    def _read(self, start: int, end: int) -> Part:
        at, milli = fridges.series(self.conn, self.key, start - self.max_gap, min(end + self.max_gap, self.as_of))
        return exposure_of(at, milli, start, end, self.keep, self.max_gap, self.shown)
