"""When an order would be here: order days, cut-off, lead days, delivery days, and somebody to take it in."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from stockroom.core.opening import Opening
from stockroom.core.practice import Supplier
from stockroom.errors import Refused

SEARCH_DAYS = 400
"""How far a day is looked for. A supplier or a practice that is closed longer has no next delivery."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """An order's way: ``order_by`` is the cut-off on its order day, ``arrives_at`` when it counts as here."""

    order_on: date
    order_by: int
    arrives_on: date
    arrives_at: int


def next_arrival(supplier: Supplier, opening: Opening, now: int, lead_days: int | None = None) -> Arrival:
    """The way of an order made at ``now``: its order day, and its delivery.

    It arrives lead_days calendar days later (those given, else the supplier's), or on the next delivery day from then
    on on which somebody is there to take it in, be it cold or not: one van brings all of an order. A supplier's closed
    day is neither an order day nor a delivery day. A delivery may come at any hour, so it counts from the end of the
    staffed day.

    Raises: Refused where there is no such day within 400 days.
    """
    order_on, order_by = order_day(supplier, opening, now)
    earliest = order_on + timedelta(days=supplier.lead_days if lead_days is None else lead_days)
    for arrives_on in _days(earliest):
        if delivers_on(supplier, opening, arrives_on) and (ends := opening.day_spans(arrives_on)[-1][1]) > now:
            return Arrival(order_on, order_by, arrives_on, ends)
    raise _never(supplier, "has no delivery day on which somebody is there", earliest)


def order_day(supplier: Supplier, opening: Opening, now: int) -> tuple[date, int]:
    """The first order day whose cut-off has not passed at ``now``, and that cut-off, at which an order still goes.

    Raises: Refused where there is none within 400 days.
    """
    for order_on in _days(opening.day(now)):
        order_by = opening.at(order_on, supplier.cutoff)
        if order_by >= now and _works(supplier, supplier.order_days, order_on):
            return order_on, order_by
    raise _never(supplier, "takes no order", opening.day(now))


def delivers_on(supplier: Supplier, opening: Opening, day: date) -> bool:
    """True on a delivery day on which somebody is there."""
    return bool(opening.day_spans(day)) and _works(supplier, supplier.delivery_days, day)


def covers_until(
    supplier: Supplier,
    opening: Opening,
    now: int,
    review_days: int,
    warmup_seconds: int,
    lead_days: int | None = None,
) -> int:
    """Until when an order made at ``now`` must last: the instant at which the one after it can be used.

    The next one is made ``review_days`` later by the local clock, warm-up follows its arrival. Where that
    would still go on the same order day as the order made now (a supplier's holiday, a review shorter than
    the time between order days) it is the same order, so the next order day after it counts.

    Raises: as ``next_arrival``.
    """
    local = datetime.fromtimestamp(now, opening.zone)
    later = opening.at(local.date() + timedelta(days=review_days), 60 * local.hour + local.minute) + local.second
    same_order_ends = order_day(supplier, opening, now)[1] + 1
    return next_arrival(supplier, opening, max(later, same_order_ends), lead_days).arrives_at + warmup_seconds


def _days(first: date) -> Iterator[date]:
    return (first + timedelta(days=n) for n in range(SEARCH_DAYS))


def _works(supplier: Supplier, weekdays: tuple[int, ...], day: date) -> bool:
    return day.weekday() in weekdays and not any(c.first <= day <= c.last for c in supplier.closed)


def _never(supplier: Supplier, what: str, since: date) -> Refused:
    return Refused(
        "no-delivery",
        f'supplier "{supplier.name}" {what} in the {SEARCH_DAYS} days from {since.isoformat()}',
        "check its order_days, delivery_days and closed, and the practice's hours",
    )
