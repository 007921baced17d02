"""What to order of one product, as a sum that can be read: every number of it stays on the line.

need = known bookings + quantile of what is still to be booked - (usable - what expires unused) - on order.
Then up to whole packs, at least the minimum, down to what fits the fridge, down to what will be used before
it expires (core/quantity.py). An instant counts as "until" where it lies before ``covers_until``.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from stockroom.core.counts import Pmf, certain, mean_of
from stockroom.core.practice import Product, Supplier
from stockroom.core.projection import Stock, left_at_expiry
from stockroom.core.protection import Protection, Way, booked_before, protection
from stockroom.core.quantity import decided

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
    """Both with the usual lead time, where what the supplier's orders took is on record."""
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
    ways: tuple[Way, ...] = ()
    """Every way in which the lead time may turn out, with its chance; empty: it is as stated."""
    lead_words: str = ""
    """What the supplier's orders took, in words."""
    use_chance: float | None = None
    """How sure it must be that all of this order is used before it expires; None: as expected."""
    unbooked_life: Pmf | None = None
    """Pieces still to be booked for [now, ``expiry``): needed with ``use_chance``."""

    @property
    def expiry(self) -> int | None:
        """The instant at which what is ordered now expires; None where it keeps."""
        life = self.product.shelf_life_days
        return None if life is None else self.arrives_at + life * DAY

    @property
    def stocks(self) -> list[Stock]:
        """What is there and what is on order, as core/projection.py takes it."""
        life = self.product.shelf_life_days
        coming = ((at, None if life is None else at + life * DAY, pieces) for at, pieces in self.on_order)
        return [*((self.now, expiry, pieces) for expiry, pieces in self.lots), *coming]


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


@dataclass(frozen=True, slots=True, eq=False)
class Position:
    """The sum before anything is ordered. ``extra`` is what is planned for besides what is booked."""

    known: int
    extra: int
    usable: int
    coming: int
    expiring: int
    demand: Protection

    @property
    def need(self) -> int:
        """Pieces that are missing; below zero, what is there beyond what is needed."""
        return self.known + self.extra - (self.usable - self.expiring) - self.coming

    @property
    def level(self) -> int:
        """Pieces besides what is booked; below zero, booked ones that nothing is there for."""
        return self.usable - self.expiring + self.coming - self.known


def position(given: OrderInput) -> Position:
    """The sum of one product, of which a piece that expires unused before covers_until is no part.

    Raises: as ``order_line``.
    """
    ways = given.ways or (Way(1.0, given.covers_until, given.unbooked, given.unbooked_lead),)
    demand = protection(given.known, given.covers_until, ways)
    stocks = given.stocks
    gone = left_at_expiry(stocks, given.now, given.known, expected_rates(given))
    soon = sum(n for n, (_, end, _) in zip(gone, stocks, strict=True) if end is not None and end < given.covers_until)
    return Position(
        known=booked_before(given.known, given.covers_until),
        extra=demand.level(given.target_kind, given.target),
        usable=sum(pieces for _, pieces in given.lots),
        coming=sum(pieces for arrives, pieces in given.on_order if arrives < given.covers_until),
        expiring=_whole(soon),
        demand=demand,
    )


def order_line(given: OrderInput) -> OrderLine:
    """The line of one product, its supplier's minimum order value left aside (see ``by_supplier``).

    Raises: ValueError for a target that is no chance, an unknown kind, or "fill" without unbooked_lead.
    """
    here = position(given)
    made = decided(here.need, given.product, given.free_space, lambda n: used_in_time(given, n), given.use_chance)
    return _line(given, here, made.packs, made.limited, made.words)


def by_supplier(inputs: Iterable[OrderInput], supplier: Supplier, currency: str = "") -> SupplierOrder:
    """The lines of one supplier. Below its minimum order value: nothing, and both amounts are named."""
    return supplier_order([(given, order_line(given)) for given in inputs], supplier, currency)


def supplier_order(
    rows: Sequence[tuple[OrderInput, OrderLine]], supplier: Supplier, currency: str = ""
) -> SupplierOrder:
    """The same of lines that are there already.

    Where a line has no price the amount is not known, and nothing is withheld for it.
    """
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


def expected_rates(given: OrderInput) -> dict[int, float]:
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


def used_in_time(given: OrderInput, order: int) -> int:
    """How many of so many ordered pieces will be used before they expire.

    Without ``use_chance`` those that expected demand uses, to the nearest piece. With it, those that are used at least
    with that chance: of the demand until the expiry that is so sure, what other stock does not serve. What that serves is
    taken at expected demand, so what of it expires unused leaves its demand to the order.

    Raises: ValueError for a chance without ``unbooked_life``.
    """
    expiry = given.expiry
    if expiry is None or not order:
        return order
    rates = expected_rates(given)
    if given.use_chance is None:
        left = left_at_expiry([*given.stocks, (given.arrives_at, expiry, order)], given.now, given.known, rates)[-1]
        return order - _whole(left)
    if given.unbooked_life is None:
        raise ValueError("a chance of use without what is still to be booked until the expiry")
    booked = booked_before(given.known, expiry)
    expected = booked + _expected_unbooked(rates, given.now, expiry)
    endless = math.ceil(expected) + 1  # so nothing is owed once it is there, and what it serves is what others do not
    left = left_at_expiry([*given.stocks, (given.arrives_at, expiry, endless)], given.now, given.known, rates)[-1]
    others = expected - (endless - left)
    sure = booked + certain(given.unbooked_life, given.use_chance)
    return max(0, min(order, math.floor(sure - others + 1e-6)))


def _expected_unbooked(rates: Mapping[int, float], now: int, end: int) -> float:
    """Pieces still to be booked for [now, end) at the expected rates."""
    marks = sorted(at for at in rates if at < end)
    return sum(rates[at] * (min(after, end) - max(at, now)) for at, after in zip(marks, [*marks[1:], end], strict=True))


def expected_waste(given: OrderInput, order: int) -> float:
    """Pieces of the whole position, so many ordered ones included, that expire unused at expected demand."""
    stocks = given.stocks + ([(given.arrives_at, given.expiry, order)] if order else [])
    return sum(left_at_expiry(stocks, given.now, given.known, expected_rates(given)))


def _whole(pieces: float) -> int:
    """To the nearest whole piece, a half counting as one: the last kit that is more likely to expire than to
    be used must not be counted on, and one that is more likely to be used is not written off.
    """
    return math.floor(pieces + 0.5 + 1e-9)


def _line(given: OrderInput, here: Position, packs: int, limited: tuple[str, ...], words: str) -> OrderLine:
    """The line for so many packs."""
    product, order = given.product, packs * given.product.pack_size
    level = here.level + order
    price = product.price(packs)
    mean = mean_of(given.unbooked) if given.unbooked_mean is None else given.unbooked_mean
    line = OrderLine(
        product=product.code, order_quantity=order, packs=packs, covers_until=given.covers_until,
        known_demand=here.known, unbooked_mean=round(mean, 6), unbooked_quantile=here.extra,
        usable=here.usable, on_order=here.coming, expiring_unused=here.expiring, need=here.need, target=given.target,
        target_kind=given.target_kind, achieved=here.demand.reached(given.target_kind, level),
        no_shortage=here.demand.no_shortage(level), limited_by=limited,
        expected_waste=round(expected_waste(given, order), 2), why=(),
        cost=None if price is None else price * packs,
    )  # fmt: skip
    return replace(line, why=(*_needed_and_there(given, line), words, *_warnings(given, line)))


def _withheld(given: OrderInput, line: OrderLine, amounts: str) -> OrderLine:
    """The same line ordering nothing, because all of the supplier's lines together are worth too little."""
    words = f"{line.why[2]}; but {amounts}: nothing is ordered"
    return _line(given, position(given), 0, (*line.limited_by, "supplier"), words)


def _needed_and_there(given: OrderInput, line: OrderLine) -> tuple[str, str]:
    aim = "chance of no shortage" if line.target_kind == "cycle" else "of demand served from the shelf"
    return (
        f"needed until the next order can be used: {line.known_demand} booked, and {line.unbooked_quantile} "
        f"for what is still to be booked ({line.unbooked_mean:.1f} expected; "
        f"target {_percent(line.target)} {aim})"
        + "".join(f"; {said}" for said in (given.basis, given.lead_words) if said),
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
    ready = given.arrives_at + given.product.warm_after
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
