"""The practice's own ordering of one product played forward over its own demand, for a row of service targets.

Nothing is recorded. The same seed gives the same answer, whatever else goes on.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from stockroom.core.bands import Band, ratio_band, saved_band
from stockroom.core.lead_times import LeadRecord
from stockroom.core.orders import OrderLine
from stockroom.core.play import Drawn, Played
from stockroom.core.practice import Product, Supplier
from stockroom.core.rehearsal import played
from stockroom.core.turns import Turn, turns
from stockroom.errors import Refused
from stockroom.store import Link
from stockroom.store.engine import Store
from stockroom.tasks.expected_demand import Expected
from stockroom.tasks.future_use import FromPast, Source, days_ahead, from_file
from stockroom.tasks.order_basis import SiteNow
from stockroom.tasks.past_weeks import past_weeks
from stockroom.tasks.places import product_named
from stockroom.tasks.rehearsal_plan import Layout, days_needed, laid_out
from stockroom.tasks.reorder import OrderPlan, at_target, order_plan
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.still_ahead import StillAhead

TARGETS = (0.80, 0.90, 0.95, 0.98, 0.99)
"""Rehearsed besides the target that holds now."""
LEAST_WEEKS = 8
"""With fewer past weeks than this the practice file's figure is used: a week drawn again from a handful is no forecast."""
YEAR = 365.0
NOT_PLAYED = (
    "late cancellations",
    "the supplier's minimum order after the first order",
    "other products coming and going in the fridges",
    "overdue orders and held stock",
    "parts of an order that come later than the rest",
    "what is learned on the way: forecasts and lead times stay those of now",
)


@dataclass(frozen=True, slots=True)
class Figures:
    """What a policy comes to in a year. ``shortage`` is the chance that anything is short between two deliveries (None
    where there are no two), ``fill`` the part of demand that is served from stock.
    """

    shortage: Band | None
    short: Band
    fill: Band
    wasted: Band
    ordered: Band
    stock: Band
    """Pieces there at the end of a day, on average."""
    peak: Band
    """The most pieces that stand there at once."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One service target: what is kept for what is not booked yet, on average; what it comes to with the waste correction
    and without (None where nothing can expire); and how many pieces a year the correction saves for the same service.
    """

    target: float
    unbooked: float
    first: int
    """Pieces that every run orders first: what the order list would propose now."""
    figures: Figures
    uncorrected: Figures | None
    saved: Band | None


@dataclass(frozen=True, slots=True)
class SiteRehearsal:
    """The rehearsal of one site. ``weeks_of_history`` is None where the practice file's figure was used. ``correction``:
    pays, costs, open (within the noise, or not to be told) or idle (it changes nothing).
    """

    site: str
    supplier: Supplier
    record: LeadRecord | None
    """What the supplier's orders took, where that is what is played."""
    target: float
    weeks_of_history: int | None
    block: int
    per_week: float
    orders: int
    stock: int
    coming: int
    held: int
    room: int | None
    outcomes: tuple[Outcome, ...]
    correction: str

    @property
    def now(self) -> Outcome:
        """What holds now."""
        return next(o for o in self.outcomes if o.target == self.target)


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """The whole answer."""

    as_of: int
    product: Product
    currency: str
    target_kind: str
    weeks: int
    runs: int
    seed: int
    sites: tuple[SiteRehearsal, ...]

    @property
    def piece_price(self) -> Decimal | None:
        """The price of one piece, None where the practice file has none."""
        price = self.product.pack_price
        return None if price is None else price / self.product.pack_size


def rehearse(
    store: Store,
    as_of: int,
    product: str,
    site: str | None,
    *,
    weeks: int,
    runs: int,
    seed: int,
    advance: Callable[[str, int, int], None] | None = None,
) -> Rehearsal:
    """Rehearses a product at each site (or the one named) from its stock at an instant.

    Raises: Refused for an unknown product or site, for numbers that cannot be played, where no demand is to be expected,
    and where the supplier never delivers.
    """
    _playable(weeks, runs, seed)
    with store.reading() as conn:
        rule = rules(conn, as_of)
        practice, wanted = rule.practice, product_named(rule.practice, product)
        plan = order_plan(conn, rule, as_of, site)
        prepared = []
        for here, expected in plan.bases:
            way = turns_of(here, wanted, 7 * weeks)
            source = source_of(conn, rule, here, expected, wanted, days_needed(here, wanted, way, 7 * weeks))
            if source.expected.sum() > 0:
                prepared.append((here, way, source, first_lines(plan, here, expected, wanted)))
    if not prepared:
        raise Refused(
            "no-demand",
            f"no demand for {wanted.code} to play: nothing is booked, the practice file expects none, and its use on "
            f"record is less than {LEAST_WEEKS} whole weeks long",
            "name it under a procedure's uses with expected_per_week in the practice file, or wait until there is more",
        )

    def told(done: int, of: int) -> None:
        if advance is not None:
            advance(f"rehearsing {wanted.code}", done, of)

    found = tuple(
        _site(here, wanted, way, source, first, weeks, runs, seed, told) for here, way, source, first in prepared
    )
    return Rehearsal(as_of, wanted, practice.currency, practice.target_kind, weeks, runs, seed, found)


def source_of(conn: Link, rule: Rules, here: SiteNow, expected: Expected, product: Product, days: int) -> Source:
    """What demand is played for so many days: the practice's own past weeks, or what its file expects."""
    ahead, past = days_ahead(here, product, days), past_weeks(conn, rule, here, product)
    if past is not None and past.weeks >= LEAST_WEEKS and past.pieces.any():
        return FromPast(past, ahead, StillAhead(expected, product))
    return from_file(here, product, ahead)


def turns_of(here: SiteNow, product: Product, days: int) -> tuple[Turn, ...]:
    """When the product is ordered at a site. Raises: Refused where its supplier never delivers."""
    supplier = here.practice.supplier(product.supplier)
    assert supplier is not None  # the practice file's names are checked when it is loaded
    record = here.leads.get(supplier.name)
    return turns(supplier, here.opening, here.at, here.practice.review_days, product.warm_after, days, record)


def first_lines(plan: OrderPlan, here: SiteNow, expected: Expected, product: Product) -> dict[float, OrderLine]:
    """The line of the order list by target, by rising target: that of the target that holds as the list of now has it."""
    holds = here.practice.target_of(product)
    listed = next(
        p for s in plan.suppliers if s.site == here.name for p in s.products if p.product.code == product.code
    )
    return {
        target: (listed if target == holds else at_target(here, expected, product, target)).line
        for target in sorted({*TARGETS, holds})
    }


def _playable(weeks: int, runs: int, seed: int) -> None:
    """Raises: Refused."""
    for name, value, least, most in (("weeks", weeks, 4, 260), ("runs", runs, 100, 100_000), ("seed", seed, 0, 2**63)):
        if not least <= value <= most:
            raise Refused("bad-rehearsal", f"{value} {name} cannot be played", f"give {least} to {most}")


def _site(
    here: SiteNow,
    product: Product,
    way: Sequence[Turn],
    source: Source,
    first: Mapping[float, OrderLine],
    weeks: int,
    runs: int,
    seed: int,
    told: Callable[[int, int], None],
) -> SiteRehearsal:
    supplier = here.practice.supplier(product.supplier)
    assert supplier is not None
    layout = laid_out(here, product, way, source, first, 7 * weeks)

    def drawn(number: int, size: int) -> Drawn:
        return layout.orders.drawn(np.random.default_rng([seed, number]), layout.plan.periods, size)

    got = played(layout.plan, drawn, runs, told)
    outcomes = tuple(_outcome(got, layout, row, line) for row, line in enumerate(first.values()))
    past = source.past if isinstance(source, FromPast) else None
    record = here.leads.get(supplier.name)
    return SiteRehearsal(
        here.name, supplier, record if record is not None and record.enough and supplier.lead_from_orders else None,
        here.practice.target_of(product),
        weeks_of_history=None if past is None else past.weeks, block=1 if past is None else past.block,
        per_week=float(source.expected.sum() / len(source.expected) * 7),
        orders=len(way), stock=layout.stock, coming=layout.coming, held=layout.held, room=layout.room,
        outcomes=outcomes, correction=_verdict(got, layout, outcomes),
    )  # fmt: skip


def _outcome(got: Played, layout: Layout, row: int, first: OrderLine) -> Outcome:
    plain = layout.plain_rows
    saved = None
    if plain is not None:
        saved = saved_band(got.lost[row], got.wasted[row], got.lost[plain], got.wasted[plain])
        saved = None if saved is None else _yearly(saved, got)
    return Outcome(
        first.target,
        layout.orders.usually_kept[row],
        first.order_quantity,
        _figures(got, row),
        None if plain is None else _figures(got, layout.plain(row)),
        saved,
    )


def _yearly(band: Band, got: Played) -> Band:
    per_year = YEAR / got.periods
    return Band(*(per_year * x for x in (band.mean, band.low, band.high, band.run_low, band.run_high)))


def _figures(got: Played, row: int) -> Figures:
    per_year = got.periods / YEAR
    demand = got.demand[row % len(got.demand)]
    cycles = int(got.cycles[row])
    return Figures(
        shortage=ratio_band(got.short[row], cycles) if cycles else None,
        short=ratio_band(got.lost[row], per_year),
        fill=ratio_band(got.lost[row], demand).rest(),
        wasted=ratio_band(got.wasted[row], per_year),
        ordered=ratio_band(got.ordered[row], per_year),
        stock=ratio_band(got.kept[row], got.periods),
        peak=ratio_band(got.peak[row], 1),
    )


def _verdict(got: Played, layout: Layout, outcomes: Sequence[Outcome]) -> str:
    """Whether the waste correction pays, over all targets that can be compared: one that costs outweighs none that pays."""
    if layout.plain_rows is None:
        return "idle"
    pairs = [(row, layout.plain(row)) for row in range(len(outcomes))]
    if all((getattr(got, name)[a] == getattr(got, name)[b]).all() for a, b in pairs for name in ("lost", "wasted")):
        return "idle"
    bands = [o.saved for o in outcomes if o.saved is not None]
    pays, costs = any(b.low > 0 for b in bands), any(b.high < 0 for b in bands)
    return "pays" if pays and not costs else "costs" if costs and not pays else "open"
