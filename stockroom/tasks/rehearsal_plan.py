"""A site's stock, supplier and fridges laid out as what a rehearsal plays: a row for each target, days as periods.

For each target two rows: ordering as the order list does, which leaves out what will expire before it can be used, and
counting every piece; of these also one a piece lower and one a piece higher, so that both can be held against each other
at the same service. A row that cannot differ is left out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stockroom.core.counts import Pmf, fill_level, mean_of, quantile
from stockroom.core.practice import Product
from stockroom.core.rehearsal import Counts, Plan
from stockroom.core.turns import Turn, first_morning
from stockroom.tasks.future_use import Source
from stockroom.tasks.order_basis import SiteNow, free_space, pieces


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """The plan, and how to read its rows: ``targets`` corrected ones first, then the plain ones by rising level."""

    plan: Plan
    targets: int
    unbooked: tuple[float, ...]
    """For each target, what is kept for demand that is not booked yet, on average over the orders."""
    stock: int
    coming: int
    held: int
    room: int | None

    @property
    def plain_rows(self) -> slice | None:
        """The rows that count every piece; None where nothing can expire."""
        return slice(self.targets, None) if len(self.plan.life) > self.targets else None

    def plain(self, row: int) -> int:
        """The row that counts every piece for the target of a corrected row."""
        return self.targets + 1 + row


def laid_out(
    here: SiteNow, product: Product, way: Sequence[Turn], source: Source, targets: Sequence[float], periods: int
) -> Layout:
    """The plan of one product at one site, from today's stock. Raises: as core/counts.py."""
    unready = max(turn.usable - turn.stands for turn in way)
    lots, coming = _lots(here, product, periods), _coming(here, product)
    stock, ordered = sum(n for _, n in lots), sum(n for _, n in coming)
    forever = max([periods, *(last for last, _ in lots)]) + 1
    days = product.shelf_life_days
    life = forever if days is None else min(forever, max(1, days - unready))
    kept = _kept(here, product, way, source, targets)
    levels = kept if days is None and not lots else np.hstack((kept, kept[:, :1] - 1, kept, kept[:, -1:] + 1))
    rows, n = levels.shape[1], len(targets)
    decided = [turn.decided for turn in way]
    room = _room(here, product, stock + ordered)
    expected = source.expected

    def table(filled: int, values: Counts) -> Counts:
        found = np.full((periods, rows), filled, np.int32)
        found[decided] = values
        return found

    covered = np.array([[turn.covered] for turn in way])
    watched = np.where(np.arange(rows) < n, covered - 2, np.array(decided)[:, None] - 1)
    begins = np.zeros((periods, rows), np.bool_)
    begins[[turn.usable for turn in way if turn.usable < periods]] = True
    plan = Plan(
        periods=periods, level=table(0, np.maximum(levels, 0)),
        arrives=table(-1, np.array([[turn.usable] for turn in way])),
        life=np.full(rows, life, np.int32), pack=np.full(rows, product.pack_size, np.int32),
        least=np.full(rows, product.minimum_packs, np.int32) if product.minimum_packs > 1 else None,
        room=None if room is None else np.full(rows, room, np.int32),
        lasting=None if life == forever else table(0, _lasting(way, expected, life)),
        expected=np.repeat(expected[:, None], rows, axis=1) if rows > n else None,
        watched=table(-1, watched) if rows > n else None,
        lots=tuple((row, last, pieces) for row in range(rows) for last, pieces in lots),
        coming=tuple((row, period, pieces) for row in range(rows) for period, pieces in coming),
        unready=unready, cycle_begins=begins,
    )  # fmt: skip
    held = sum(n for _, n in pieces(here, product, "quarantined"))
    return Layout(plan, n, tuple(kept.mean(axis=0).tolist()), stock, ordered, held, room)


def _lots(here: SiteNow, product: Product, periods: int) -> list[tuple[int, int]]:
    """(last day on which it may be used, pieces) of the usable stock."""
    today = here.opening.day(here.at)
    return [
        (2 * periods if end is None else (here.opening.day(end - 1) - today).days, n)
        for end, n in pieces(here, product, "usable")
    ]


def _coming(here: SiteNow, product: Product) -> list[tuple[int, int]]:
    """(day from which on it can be used, pieces) of what is on order and not overdue."""
    today, warm = here.opening.day(here.at), product.warmup_seconds
    return [
        ((first_morning(here.opening, o.due + warm) - today).days, n)
        for o in here.orders
        if not o.overdue and (n := o.coming(product.code))
    ]


def _room(here: SiteNow, product: Product, position: int) -> int | None:
    """The most pieces that fit the fridges, there and on order, with everything else in them as it is today."""
    free = free_space(here) if product.cold and product.space else None
    return None if free is None else position + max(0, free) // product.space


def _kept(here: SiteNow, product: Product, way: Sequence[Turn], source: Source, targets: Sequence[float]) -> Counts:
    """(orders, targets): pieces kept for what is not booked yet until the order after each one can be used."""
    kind = here.practice.target_kind
    rows = []
    for turn in way:
        span = source.unbooked(turn.decided, turn.covered)
        lead = source.unbooked(turn.decided, turn.usable) if kind == "fill" else None
        rows.append([_enough(span, lead, target) for target in targets])
    return np.array(rows, np.int32)


def _enough(span: Pmf, lead: Pmf | None, target: float) -> int:
    if lead is None:
        return quantile(span, target)
    return fill_level(span, lead, mean_of(span) - mean_of(lead), target)


def _lasting(way: Sequence[Turn], expected: np.ndarray, life: int) -> Counts:
    """(orders, 1): what is expected to be used from an order's day on to the last day of what it brings."""
    total, daily = np.concatenate(([0.0], np.cumsum(expected))), float(expected.mean())
    whole = []
    for turn in way:
        end = turn.usable + life
        inside = min(end, len(expected))
        used = total[inside] - total[turn.decided] + (end - inside) * daily
        whole.append([math.floor(used + 0.5 + 1e-9)])
    return np.array(whole, np.int32)
