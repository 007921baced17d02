"""How long a supplier's orders really took, and how many lead days its rule would need to say so.

What is measured are calendar days from the order day (the one on which it went, by cut-off and order days) to the day on
which pieces came. A week-end in between says nothing about the supplier: so of all lead days with which the supplier's
rule leads to that day, the one nearest to the stated is taken. Where it always keeps its word, nothing changes.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from stockroom.core.deliveries import SEARCH_DAYS, Arrival, covers_until, delivers_on, next_arrival
from stockroom.core.opening import Opening
from stockroom.core.practice import Supplier
from stockroom.core.units import count

ENOUGH = 6
"""So many orders of the last two years replace what is stated: with fewer, one late delivery would be the rule."""
BACK_DAYS = 730
LATE = Fraction(4, 5)
"""An order is overdue once four of five like it would have come. At the central day every second one would be, and
what is overdue is ordered again."""


@dataclass(frozen=True, slots=True)
class Came:
    """An order of which nothing more is to come: when it went, and (product, day, pieces) of what came of it."""

    opening: Opening
    order_on: date
    pieces: tuple[tuple[str, date, int], ...]


@dataclass(frozen=True, slots=True)
class LeadRecord:
    """How long so many orders took: ``shortest`` to ``longest`` calendar days, and as lead days of the supplier's rule,
    rising, each with its chance.
    """

    orders: int
    shortest: int
    longest: int
    days: tuple[tuple[int, Fraction], ...]

    @property
    def enough(self) -> bool:
        """True where it may replace what is stated."""
        return self.orders >= ENOUGH

    @property
    def central(self) -> int:
        """The lead days within which half of what was ordered came."""
        return self.within(Fraction(1, 2))

    def within(self, share: Fraction) -> int:
        """The fewest lead days within which that share of what was ordered came."""
        total = Fraction(0)
        for days, chance in self.days:
            total += chance
            if total >= share:
                return days
        return self.days[-1][0]

    @property
    def words(self) -> str:
        """``8 orders took 3 to 6 days``."""
        span = f"{self.shortest} to {self.longest}" if self.shortest != self.longest else f"{self.longest}"
        return f"{count(self.orders, 'order')} took {span} {'day' if self.longest == 1 else 'days'}"


def lead_record(supplier: Supplier, came: Iterable[Came]) -> LeadRecord | None:
    """What a supplier's orders tell; None where nothing ever came.

    Each order has the same weight. In it each product has, and in a product each part that came by its pieces: half of an
    order that comes a week late is half an order that took a week more. What never came tells nothing.
    """
    found = [order for order in came if order.pieces]
    if not found:
        return None
    chances: dict[int, Fraction] = {}
    took: list[int] = []
    for order in found:
        totals: dict[str, int] = {}
        for product, _, pieces in order.pieces:
            totals[product] = totals.get(product, 0) + pieces
        for product, day, pieces in order.pieces:
            share = Fraction(pieces, totals[product] * len(totals) * len(found))
            days = fitting_days(supplier, order.opening, order.order_on, day)
            chances[days] = chances.get(days, Fraction(0)) + share
            took.append(max(0, (day - order.order_on).days))
    return LeadRecord(len(found), min(took), max(took), tuple(sorted(chances.items())))


@dataclass(frozen=True, slots=True)
class Timing:
    """When an order made now arrives, and when the one after it, usually (``arrival``, ``next_at``) and in every way in
    which lead times may turn out: ``turns`` (chance, arrives_at, next_at), rising. ``arrives_from``: the first instant at
    which it may stand at the door. ``record`` is what was measured, None where the stated lead days hold.
    """

    supplier: Supplier
    arrival: Arrival
    next_at: int
    arrives_from: int
    turns: tuple[tuple[float, int, int], ...]
    record: LeadRecord | None


def timing(
    supplier: Supplier, opening: Opening, now: int, review_days: int, record: LeadRecord | None = None
) -> Timing:
    """The timing of an order made at ``now`` and the one a review later; each lead time stands for both of them.

    Raises: Refused where there is no delivery (core/deliveries.py).
    """
    used = record if record is not None and record.enough and supplier.lead_from_orders else None
    usual = supplier.lead_days if used is None else used.central
    arrival = next_arrival(supplier, opening, now, usual)
    next_at = covers_until(supplier, opening, now, review_days, 0, usual)
    chances: dict[tuple[int, int], Fraction] = {}
    first = arrival
    for days, chance in ((usual, Fraction(1)),) if used is None else used.days:
        way = next_arrival(supplier, opening, now, days)
        first = min(first, way, key=lambda a: a.arrives_at)
        key = (way.arrives_at, covers_until(supplier, opening, now, review_days, 0, days))
        chances[key] = chances.get(key, Fraction(0)) + chance
    turns = tuple((float(chance), here, then) for (here, then), chance in sorted(chances.items()))
    arrives_from = max(now, opening.day_spans(first.arrives_on)[0][0])
    return Timing(supplier, arrival, next_at, arrives_from, turns, used)


def due(supplier: Supplier, opening: Opening, now: int, record: LeadRecord | None) -> Arrival:
    """Until when an order made at ``now`` is not overdue. Raises: Refused as ``timing``."""
    used = record is not None and record.enough and supplier.lead_from_orders
    return next_arrival(supplier, opening, now, record.within(LATE) if record is not None and used else None)


def fitting_days(supplier: Supplier, opening: Opening, order_on: date, came_on: date) -> int:
    """The lead days, nearest to the stated ones, with which the supplier's rule brings an order of one day on another."""
    most = max(0, (came_on - order_on).days)
    least = most
    while least > 0 and most - least < SEARCH_DAYS:
        before = order_on + timedelta(days=least - 1)
        if delivers_on(supplier, opening, before):
            break
        least -= 1
    return min(max(supplier.lead_days, least), most)
