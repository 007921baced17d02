"""What to order of one product, as a sum that can be read: every number of it stays on the line.

need = known bookings + quantile of what is still to be booked - (usable - what expires unused) - on order.
Then up to whole packs, at least the minimum, down to what fits the fridge, down to what will be used before
it expires. An instant counts as "until" where it lies before ``covers_until``.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from stockroom.core.counts import Pmf, chance_at_most, fill_level, fill_rate, mean_of, quantile
from stockroom.core.demand import left_at_expiry
from stockroom.core.practice import Product, Supplier
from stockroom.core.units import count

DAY = 86_400
WEEK = 7 * DAY


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrderInput:
    """All that the line of one product stands on. Instants in UTC seconds, quantities in single pieces."""

    product: Product
    now: int
    arrives_at: int
    """When this order would be here, and ``covers_until``: when the one after it could be used."""
    covers_until: int
    known: tuple[tuple[int, int], ...]
    """(start, pieces) of every booking not yet done, past ones and those after covers_until included."""
    unbooked: Pmf
    """Pieces still to be booked for [now, covers_until)."""
    unbooked_mean: float | None = None
    """What is expected of them, where that is not the mean of ``unbooked``: that one cannot fall below zero."""
    basis: str = ""
    """By which forecasts, in words."""
    unbooked_lead: Pmf | None = None
    """The same for [now, arrives_at): needed for the target kind "fill" only."""
    daily_rate: float = 0.0
    """Expected pieces a day in the long run, booked or not: the rate of use beyond covers_until."""
    target: float = 0.95
    target_kind: str = "cycle"
    lots: tuple[tuple[int | None, int], ...] = ()
    """Usable stock: (end of expiry or use-by, pieces)."""
    on_order: tuple[tuple[int, int], ...] = ()
    """Open orders that are not overdue: (arrives_at, pieces)."""
    overdue: tuple[tuple[str, int], ...] = ()
    """Overdue orders, (label, pieces): named, and counted as nothing."""
    held: tuple[tuple[int | None, int], ...] = ()
    """Stock that may not be used now, as ``lots``: only for what the line would be if it were released."""
    free_space: int | None = None
    """Room for it beside what is on order, in the products' ``space``; None: no limit."""


@dataclass(frozen=True, slots=True)
class OrderLine:
    """What to order of a product and why. ``expected_waste`` is what of the whole position, this order
    included, expires unused at expected demand; ``no_shortage`` the chance that nothing is short until
    covers_until; ``achieved`` the same for the target kind "cycle", and for "fill" the part of demand served
    from the shelf.
    """

    product: str
    order_quantity: int
    packs: int
    covers_until: int
    known_demand: int
    unbooked_mean: float
    unbooked_quantile: int
    usable: int
    on_order: int
    expiring_unused: int
    need: int
    target: float
    target_kind: str
    achieved: float
    no_shortage: float
    limited_by: tuple[str, ...]
    expected_waste: float
    cost: Decimal | None
    """None where the product has no price."""
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SupplierOrder:
    """The lines of one supplier, and what they come to (lines without a price left out)."""

    supplier: str
    total: Decimal
    lines: tuple[OrderLine, ...]
    nothing_needed: tuple[OrderLine, ...]


def order_line(given: OrderInput) -> OrderLine:
    """The line of one product, its supplier's minimum order value left aside (see ``by_supplier``).

    Raises: ValueError for a target that is no chance, an unknown kind, or "fill" without unbooked_lead.
    """
    packs, limited, decided = _packs(given, _line(given, 0, (), ""))
    return _line(given, packs, limited, decided)


def by_supplier(inputs: Iterable[OrderInput], supplier: Supplier, currency: str = "") -> SupplierOrder:
    """The lines of one supplier. Below its minimum order value: nothing, and both amounts are named.

    Where a line has no price the amount is not known, and nothing is withheld for it.
    """
    rows = [(given, order_line(given)) for given in inputs]
    ordered = [line for _, line in rows if line.packs]
    total = sum((line.cost or Decimal(0) for line in ordered), Decimal(0))
    unpriced = [line.product for line in ordered if line.cost is None]
    if ordered and total < supplier.minimum_order:
        amounts = (
            f"the order comes to {total:.2f} {currency}".rstrip()
            + f", the supplier's minimum is {supplier.minimum_order:.2f} {currency}".rstrip()
        )
        if unpriced:
            note = f"{amounts}; {', '.join(unpriced)} has no price, so it may be below: ask"
            rows = [(given, replace(line, why=(*line.why, note)) if line.packs else line) for given, line in rows]
        else:
            rows = [(given, _withheld(given, line, amounts) if line.packs else line) for given, line in rows]
            total = Decimal(0)
    return SupplierOrder(
        supplier.name,
        total,
        tuple(line for _, line in rows if line.need > 0),
        tuple(line for _, line in rows if line.need <= 0),
    )


def joint_chance(no_shortage: Mapping[str, float], needed: Iterable[str]) -> float:
    """The chance that none of the needed products is short, if they run short independently of one another.

    Raises: KeyError for a product without a chance.
    """
    return math.prod(no_shortage[product] for product in set(needed))


def _expected_rates(given: OrderInput) -> dict[int, float]:
    """Unbooked demand in pieces a second: its mean, spread evenly until covers_until; from there in blocks of
    a week the long-run rate, less what is already booked in the block, but never below zero.
    """
    end = given.covers_until
    steady = given.daily_rate / DAY
    rates = {given.now: mean_of(given.unbooked) / max(1, end - given.now), end: steady}
    booked: dict[int, int] = {}
    for at, pieces in given.known:
        if at >= end:
            booked[(at - end) // WEEK] = booked.get((at - end) // WEEK, 0) + pieces
    for block, pieces in booked.items():
        rates[end + block * WEEK] = max(0.0, steady - pieces / WEEK)
        rates.setdefault(end + (block + 1) * WEEK, steady)
    return rates


def _unused(given: OrderInput, order: int) -> tuple[float, float, float]:
    """Pieces that expire unused at expected demand: before covers_until, without the order; ever; of it."""
    life = given.product.shelf_life_days
    new = [
        (arrives, None if life is None else arrives + life * DAY, pieces)
        for arrives, pieces in (*given.on_order, (given.arrives_at, order))
    ]
    stocks = [*((given.now, expiry, pieces) for expiry, pieces in given.lots), *new]
    rates = _expected_rates(given)
    without = left_at_expiry(stocks[:-1], given.now, given.known, rates)
    soon = sum(
        left
        for left, (_, expiry, _) in zip(without, stocks, strict=False)
        if expiry is not None and expiry < given.covers_until
    )
    ever = left_at_expiry(stocks, given.now, given.known, rates) if order else [*without, 0.0]
    return soon, sum(ever), ever[-1]


def _whole(pieces: float) -> int:
    """To the nearest whole piece, a half counting as one: the last kit that is more likely to expire than to
    be used must not be counted on, and one that is more likely to be used is not written off.
    """
    return math.floor(pieces + 0.5 + 1e-9)


def _quantile(given: OrderInput) -> int:
    if given.target_kind == "cycle":
        return quantile(given.unbooked, given.target)
    lead, review = _lead(given)
    return fill_level(given.unbooked, lead, review, given.target)


def _lead(given: OrderInput) -> tuple[Pmf, float]:
    """For the fill rate: unbooked pieces until the order arrives, and the mean of what comes between then and
    covers_until. What is booked is served first and in full, so the rate is that of what is still to be
    booked.
    """
    if given.target_kind != "fill" or given.unbooked_lead is None:
        raise ValueError(f'target kind "{given.target_kind}": neither "cycle" nor "fill" with its unbooked_lead')
    return given.unbooked_lead, mean_of(given.unbooked) - mean_of(given.unbooked_lead)


def _packs(given: OrderInput, bare: OrderLine) -> tuple[int, tuple[str, ...], str]:
    """How many packs, what limited them, and in which words, from the line that still orders nothing."""
    product, need = given.product, bare.need
    size = product.pack_size
    if need <= 0:
        return 0, (), "what is there covers it: nothing to order"
    packs = -(-need // size)
    limited = []
    decided = [f"need {need}"]
    if packs * size != need:
        limited.append("pack")
        decided.append(f"in packs of {size} that is {packs * size}")
    if packs < product.minimum_packs:
        packs = product.minimum_packs
        limited.append("minimum")
        decided.append(f"at least {count(packs, 'pack')} at a time: {packs * size}")
    if given.free_space is not None and packs * size * product.space > max(0, given.free_space):
        packs = max(0, given.free_space) // (size * product.space)
        limited.append("space")
        decided.append(f"the fridge has room for {count(packs, 'pack')}: {packs * size}")
    unused = _whole(_unused(given, packs * size)[2])
    if unused:
        fresh = (packs * size - unused) // size
        decided.append(f"{unused} of {packs * size} would expire unused: {count(fresh, 'pack')}, {fresh * size}")
        packs = fresh
        limited.append("shelf_life")
    if 0 < packs < product.minimum_packs:
        decided.append(f"that is below the minimum of {count(product.minimum_packs, 'pack')}: ask the supplier")
    return packs, tuple(limited), "; ".join(decided)


def _line(given: OrderInput, packs: int, limited: tuple[str, ...], decided: str) -> OrderLine:
    """The line for so many packs."""
    product, order = given.product, packs * given.product.pack_size
    known = sum(pieces for at, pieces in given.known if at < given.covers_until)
    usable = sum(pieces for _, pieces in given.lots)
    coming = sum(pieces for arrives, pieces in given.on_order if arrives < given.covers_until)
    soon, waste, _ = _unused(given, order)
    position = usable - _whole(soon) + coming
    extra = _quantile(given)
    level = position + order - known
    no_shortage = achieved = chance_at_most(given.unbooked, level)
    if given.target_kind == "fill":
        lead, review = _lead(given)
        achieved = fill_rate(given.unbooked, lead, review, level)
    line = OrderLine(
        product=product.code, order_quantity=order, packs=packs, covers_until=given.covers_until,
        known_demand=known, unbooked_mean=round(mean_of(given.unbooked) if given.unbooked_mean is None else given.unbooked_mean, 6), unbooked_quantile=extra,
        usable=usable, on_order=coming, expiring_unused=_whole(soon), need=known + extra - position,
        target=given.target,
        target_kind=given.target_kind, achieved=achieved, no_shortage=no_shortage, limited_by=limited,
        expected_waste=round(waste, 2), why=(),
        cost=None if product.pack_price is None else product.pack_price * packs,
    )  # fmt: skip
    if not decided:
        return line
    return replace(line, why=(*_needed_and_there(line, given.basis), decided, *_warnings(given, line)))


def _withheld(given: OrderInput, line: OrderLine, amounts: str) -> OrderLine:
    """The same line ordering nothing, because all of the supplier's lines together are worth too little."""
    return _line(given, 0, (*line.limited_by, "supplier"), f"{line.why[2]}; but {amounts}: nothing is ordered")


def _needed_and_there(line: OrderLine, basis: str) -> tuple[str, str]:
    aim = "chance of no shortage" if line.target_kind == "cycle" else "of demand served from the shelf"
    return (
        f"needed until the next order can be used: {line.known_demand} booked, and {line.unbooked_quantile} "
        f"for what is still to be booked ({line.unbooked_mean:.1f} expected; "
        f"target {_percent(line.target)} {aim})" + (f"; {basis}" if basis else ""),
        f"there: {line.usable} usable, of which {line.expiring_unused} will expire unused, "
        f"and {line.on_order} on order",
    )


def _warnings(given: OrderInput, line: OrderLine) -> list[str]:
    """What a person must know besides: too little for what is booked, overdue orders, held stock."""
    said = []
    if line.order_quantity < line.need:
        said.append(f"that leaves a chance of no shortage of {_percent(line.no_shortage)}")
    there = line.usable - line.expiring_unused + line.on_order + line.order_quantity
    if there < line.known_demand and line.need > 0:
        said.append(
            f"NOT ENOUGH FOR WHAT IS BOOKED: {line.known_demand} booked, {there} there with this order: "
            "make room, borrow, or move a booking"
        )
    ready = given.arrives_at + given.product.warmup_seconds
    before = sum(pieces for at, pieces in given.known if at < ready)
    sooner = line.usable + sum(pieces for arrives, pieces in given.on_order if arrives <= given.arrives_at)
    if before > sooner:
        said.append(
            f"TOO LATE FOR {before - sooner}: {before} booked before an order made now can be used, "
            f"{sooner} there: borrow, or move a booking"
        )
    for label, pieces in given.overdue:
        said.append(f"{label} ({pieces}) is overdue and counts as nothing until it has a new day")
    if given.held:
        held = sum(pieces for _, pieces in given.held)
        free = order_line(replace(given, lots=(*given.lots, *given.held), held=()))
        wanted = f"need {free.need} and order {free.order_quantity}" if free.need > 0 else "nothing to order"
        said.append(f"{held} held: if released, {wanted}")
    return said


def _percent(chance: float) -> str:
    return f"{100 * chance:.4g} %"
