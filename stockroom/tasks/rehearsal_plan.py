"""A site's stock, supplier and fridges laid out as what a rehearsal plays: a row for each target, days as periods.

For each target two rows: ordering as the order list does, which leaves out what will expire before it can be used, and
counting every piece; of these also one a piece lower and one a piece higher, so that both can be held against each other
at the same service. A row that cannot differ is left out.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from stockroom.core.kept_levels import Unbooked
from stockroom.core.orders import OrderLine
from stockroom.core.packs import price_breaks
from stockroom.core.play import Counts, Plan
from stockroom.core.practice import Product
from stockroom.core.turns import Turn, first_morning
from stockroom.tasks.future_use import Source
from stockroom.tasks.order_basis import SiteNow, free_space, pieces
from stockroom.tasks.rehearsal_draw import Orders, Rows, levels_of


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """The plan, and how to read its rows: ``targets`` corrected ones first, then the plain ones by rising level."""

    plan: Plan
    targets: int
    orders: Orders
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
    here: SiteNow,
    product: Product,
    way: Sequence[Turn],
    source: Source,
    first: Mapping[float, OrderLine],
    periods: int,
) -> Layout:
    """The plan of one product at one site, from today's stock; ``first`` are the lines of the order list of now, by target.

    Raises: as core/counts.py.
    """
    targets, n = tuple(first), len(first)
    unready = max(turn.usable - turn.stands for turn in way)
    lots, coming = _lots(here, product, periods), _coming(here, product)
    stock, ordered = sum(n for _, n in lots), sum(n for _, n in coming)
    forever = max([periods, *(last for last, _ in lots)]) + 1
    days = product.shelf_life_days
    keeps = forever if days is None else max(1, days - unready)
    life = min(forever, keeps)
    rows: Rows = tuple((row, 0) for row in range(n))
    if days is not None or lots:
        rows = (*rows, (0, -1), *rows, (n - 1, 1))
    decided = [turn.decided for turn in way]
    room = _room(here, product, stock + ordered)
    chance = here.practice.use_chance_of(product)

    def table(filled: int, values: Counts) -> Counts:
        found = np.full((periods, len(rows)), filled, np.int32)
        found[decided] = values
        return found

    covered = np.array([[turn.covered] for turn in way])
    watched = np.where(np.arange(len(rows)) < n, covered - 2, np.array(decided)[:, None] - 1)
    begins = np.zeros((periods, len(rows)), np.bool_)
    begins[[turn.usable for turn in way if turn.usable < periods]] = True
    lines = list(first.values())
    orders = Orders(
        tuple(way), source, rows, levels_of(way, source, targets, here.practice.target_kind), targets,
        (lines[0].known_demand, tuple(line.unbooked_quantile for line in lines)), room is not None,
        chance, () if days is None or chance is None else _until_expiry(here, product, way, source, keeps), keeps,
    )  # fmt: skip
    plan = Plan(
        periods=periods, level=np.zeros((periods, len(rows)), np.int32),
        arrives=table(-1, np.array([[turn.soonest] for turn in way])),
        life=np.full(len(rows), life, np.int32), pack=np.full(len(rows), product.pack_size, np.int32),
        least=np.full(len(rows), product.minimum_packs, np.int32) if product.minimum_packs > 1 else None,
        breaks=price_breaks(product),
        room=None if room is None else np.full(len(rows), room, np.int32),
        lasting=None if days is None else table(0, _lasting(way, source.expected, keeps)),
        patience=_patience(way, periods),
        first=np.array([*(line.order_quantity for line in lines), *[-1] * (len(rows) - n)], np.int32),
        expected=np.repeat(source.expected[:, None], len(rows), axis=1) if len(rows) > n else None,
        watched=table(-1, watched) if len(rows) > n else None,
        lots=tuple((row, last, pieces) for row in range(len(rows)) for last, pieces in lots),
        coming=tuple((row, period, pieces) for row in range(len(rows)) for period, pieces in coming),
        unready=unready, cycle_begins=begins,
    )  # fmt: skip
    held = sum(n for _, n in pieces(here, product, "quarantined"))
    return Layout(plan, n, orders, stock, ordered, held, room)


def days_needed(here: SiteNow, product: Product, way: Sequence[Turn], periods: int) -> int:
    """How many days ahead of demand are looked at: with a chance of use what is booked for the whole life of an order counts."""
    longest = max(course.covered - turn.decided for turn in way for course in turn.courses)
    life = 0 if here.practice.use_chance_of(product) is None else product.shelf_life_days or 0
    return periods + longest + life + 1


def _patience(way: Sequence[Turn], periods: int) -> Counts | None:
    """As Plan's, where lead times vary."""
    if all(len(turn.courses) == 1 for turn in way):
        return None
    found = np.zeros(periods, np.int32)
    found[[turn.decided for turn in way]] = [turn.expected - turn.soonest for turn in way]
    return found


def _until_expiry(
    here: SiteNow, product: Product, way: Sequence[Turn], source: Source, keeps: int
) -> tuple[Unbooked, ...]:
    """What is still to be booked until each order expires, by the forecast for the target that holds."""
    today, target = here.opening.day(here.at), here.practice.target_of(product)
    days = [turn.usable + keeps for turn in way]
    ends = [(day, here.opening.midnight(today + timedelta(days=day))) for day in days]
    return tuple(source.unbooked(turn, end, target) for turn, end in zip(way, ends, strict=True))


def _lots(here: SiteNow, product: Product, periods: int) -> list[tuple[int, int]]:
    """(last day on which it may be used, pieces) of the usable stock."""
    today = here.opening.day(here.at)
    return [
        (2 * periods if end is None else (here.opening.day(end - 1) - today).days, n)
        for end, n in pieces(here, product, "usable")
    ]


def _coming(here: SiteNow, product: Product) -> list[tuple[int, int]]:
    """(day from which on it can be used, pieces) of what is on order and not overdue."""
    today, warm = here.opening.day(here.at), product.warm_after
    return [
        ((first_morning(here.opening, o.due + warm) - today).days, n)
        for o in here.orders
        if not o.overdue and (n := o.coming(product.code))
    ]


def _room(here: SiteNow, product: Product, position: int) -> int | None:
    """The most pieces that fit the fridges, there and on order, with everything else in them as it is today."""
    free = free_space(here) if product.cold and product.space else None
    return None if free is None else position + max(0, free) // product.space


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
