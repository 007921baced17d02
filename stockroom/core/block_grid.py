"""The blocks of seven local days before and after an instant, with the share of their usual time that they are staffed."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np

from stockroom.core.booking_curve import DAYS, Floats, Grid
from stockroom.core.opening import Opening, merged

MOST_PAST = 260
"""Five years: what is older is not looked at."""
DAY_SECONDS = 86_400
Ruled = tuple[int, int, Opening]
"""(from, until, the hours that ruled then)."""


def block_grid(at: int, since: int, ahead: int, opening: Opening, ruled: Sequence[Ruled]) -> Grid:
    """Blocks that begin at the local clock time of ``at``: those back to ``since``, and ``ahead`` of them from then on.

    ``opening`` are the hours that rule at ``at``, which are also the usual ones that shares are of; ``ruled`` those that
    ruled before, for the days of their time. A clock change within a day is that day's.
    """
    past = min(MOST_PAST, max(0, at - since) // (DAYS * DAY_SECONDS) + 2)
    local = datetime.fromtimestamp(at, opening.zone)
    clock = 3600 * local.hour + 60 * local.minute + local.second
    first = local.date() - timedelta(days=DAYS * past)
    days = [first + timedelta(days=n) for n in range(DAYS * (past + ahead) + 1)]
    marks = [opening.at(day, clock // 60) + clock % 60 for day in days]
    marks[DAYS * past] = at  # also where the clock shows that time twice
    usual = [_usual(opening, day, clock) for day in days[:DAYS]]
    shares: Floats = np.ones(DAYS * (past + ahead))
    for a, b, hours in _in_force(opening, ruled, at, marks[0], marks[-1]):
        touched = _exceptional(hours, days[0], days[-1])
        same = hours.site.hours == opening.site.hours
        for n in range(int(np.searchsorted(marks, a)), min(len(shares), int(np.searchsorted(marks, b)))):
            if usual[n % DAYS] and not (same and touched.isdisjoint(days[n : n + 2])):
                shares[n] = sum(y - x for x, y in hours.spans(marks[n], marks[n + 1])) / usual[n % DAYS]
    week = max(1, sum(usual))
    return Grid(
        np.array(marks, dtype=np.int64),
        past,
        shares.reshape(past + ahead, DAYS),
        np.array(usual, dtype=np.float64) / week,
    )


def _in_force(opening: Opening, ruled: Sequence[Ruled], at: int, first: int, last: int) -> list[Ruled]:
    """The hours by the time that they ruled, those of now from the last change on."""
    spans = [(a, b, hours) for a, b, hours in ruled if b > first and a <= at]
    return [*spans[:-1], (spans[-1][0] if spans else first, last, opening)]


def _usual(opening: Opening, day: date, clock: int) -> int:
    """Seconds that are staffed by the weekday's hours from a clock time to the same of the next day."""
    today = sum(_length(a, b, clock, DAY_SECONDS) for a, b in merged(opening.usual(day)))
    return today + sum(_length(a, b, 0, clock) for a, b in merged(opening.usual(day + timedelta(days=1))))


def _length(first: int, last: int, start: int, end: int) -> int:
    """Seconds of a span in minutes of the day that lie between two seconds of the day."""
    return max(0, min(60 * last, end) - max(60 * first, start))


def _exceptional(opening: Opening, first: date, last: date) -> set[date]:
    """The days on which the hours are not the weekday's."""
    found = {e.day for e in opening.exceptions}
    for closure in opening.site.closed:
        day, end = max(closure.first, first), min(closure.last, last)
        while day <= end:
            found.add(day)
            day += timedelta(days=1)
    return found
