"""When the practice will order in the time ahead, and from when to when each order must last, as days from today."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from stockroom.core.deliveries import covers_until, next_arrival
from stockroom.core.opening import Opening
from stockroom.core.practice import Supplier


@dataclass(frozen=True, slots=True)
class Turn:
    """One order, in days from today (0): when it is decided, from which morning on it stands there, from which morning
    on it can be used, and from which morning on the order after it can.
    """

    decided: int
    stands: int
    usable: int
    covered: int


def turns(
    supplier: Supplier, opening: Opening, now: int, review_days: int, warmup_seconds: int, days: int
) -> tuple[Turn, ...]:
    """The orders that are decided on some days from now on: one now and one every ``review_days`` by the local clock.

    A review whose order would still go out with that of the review before it decides nothing new.

    Raises: Refused as core/deliveries.py, where the supplier has no next delivery.
    """
    found: list[Turn] = []
    today, taken = opening.day(now), None
    for decided, at in _reviews(opening, now, review_days, days):
        way = next_arrival(supplier, opening, at)
        if way.order_on == taken:
            continue
        taken = way.order_on
        until = covers_until(supplier, opening, at, review_days, warmup_seconds)
        mornings = (way.arrives_at, way.arrives_at + warmup_seconds, until)
        found.append(Turn(decided, *((first_morning(opening, x) - today).days for x in mornings)))
    return tuple(found)


def first_morning(opening: Opening, at: int) -> date:
    """The first local day that begins, for who works there, not before an instant."""
    day = opening.day(at)
    spans = opening.day_spans(day)
    return day if spans and at <= spans[0][0] else day + timedelta(days=1)


def _reviews(opening: Opening, now: int, review_days: int, days: int) -> Iterator[tuple[int, int]]:
    local = datetime.fromtimestamp(now, opening.zone)
    minute = 60 * local.hour + local.minute
    yield 0, now
    for decided in range(review_days, days, review_days):
        yield decided, opening.at(local.date() + timedelta(days=decided), minute)
