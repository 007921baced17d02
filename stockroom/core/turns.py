"""When the practice will order in the time ahead, and from when to when each order must last, as days from today."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from stockroom.core.lead_times import LeadRecord, due, timing
from stockroom.core.opening import Opening
from stockroom.core.practice import Supplier


@dataclass(frozen=True, slots=True)
class Course:
    """One way in which the lead times of an order and of the one after it may turn out, with its chance: from which morning
    on this one can be used, and the next; and both as instants.
    """

    chance: float
    usable: int
    covered: int
    usable_at: int
    covers_until: int


@dataclass(frozen=True, slots=True)
class Turn:
    """One order, in days from today (0): when it is decided, from which morning on it stands there, from which morning
    on it can be used, and from which morning on the order after it can, all as usual. ``at`` is the instant of the decision,
    ``door`` the first day on which it may come; from the morning of ``expected`` on it could be used at the latest if it
    comes before it is overdue; ``courses`` are all ways in which it may go.
    """

    decided: int
    stands: int
    usable: int
    covered: int
    at: int
    door: int
    expected: int
    courses: tuple[Course, ...]

    @property
    def soonest(self) -> int:
        """The first morning on which it may be usable."""
        return min(course.usable for course in self.courses)


def turns(
    supplier: Supplier,
    opening: Opening,
    now: int,
    review_days: int,
    warmup_seconds: int,
    days: int,
    record: LeadRecord | None = None,
) -> tuple[Turn, ...]:
    """The orders that are decided on some days from now on: one now and one every ``review_days`` by the local clock, with
    the lead times that the supplier states, or those on ``record`` where they hold (core/lead_times.py).

    A review whose order would still go out with that of the review before decides nothing new.

    Raises: Refused as core/deliveries.py, where the supplier has no next delivery.
    """
    found: list[Turn] = []
    today, taken = opening.day(now), None

    def day(at: int) -> int:
        return (first_morning(opening, at) - today).days

    for decided, at in _reviews(opening, now, review_days, days):
        when = timing(supplier, opening, at, review_days, record)
        if when.arrival.order_on == taken:
            continue
        taken = when.arrival.order_on
        courses = tuple(
            Course(
                chance,
                day(here + warmup_seconds),
                day(then + warmup_seconds),
                here + warmup_seconds,
                then + warmup_seconds,
            )
            for chance, here, then in when.turns
        )
        here = when.arrival.arrives_at
        usual = (day(here), day(here + warmup_seconds), day(when.next_at + warmup_seconds))
        late = due(supplier, opening, at, record).arrives_at + warmup_seconds
        door = (opening.day(when.arrives_from) - today).days
        found.append(Turn(decided, *usual, at, door, day(late), courses))
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
