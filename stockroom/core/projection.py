"""How the stock of a product goes from now on: lots used up first expired first out, deliveries in on their instant.

Demand is what is booked, at its instant, and a steady rate in pieces a second that changes at given instants. What
nothing is there for waits for the next delivery: it is owed, and the path goes below zero. What is left of a lot at its
expiry is thrown away. Exact between those instants: no day is rounded.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

Stock = tuple[int, int | None, int]
"""Pieces from an instant on, up to the end of their expiry (None: unknown or never)."""


@dataclass(frozen=True, slots=True)
class Path:
    """Pieces there at each of the instants ``at``, after all that happens then; below zero they are owed.

    ``unused`` is for each stock what of it is left at its expiry, where that is not after the last instant.
    """

    at: tuple[int, ...]
    there: tuple[float, ...]
    unused: tuple[float, ...]


def path(
    stocks: Sequence[Stock],
    now: int,
    known: Iterable[tuple[int, int]],
    rates: Mapping[int, float],
    marks: Iterable[int],
) -> Path:
    """The stock at ``now`` and at every later instant up to the last of ``marks`` at which anything happens.

    ``known`` are (instant, pieces), past ones taken at ``now``; ``rates`` (instant -> pieces a second from then on).
    """
    wanted = [now, *(m for m in marks if m > now)]
    last = max(wanted)
    turn = sorted(range(len(stocks)), key=lambda i: (stocks[i][1] is None, stocks[i][1] or 0, stocks[i][0]))
    due: dict[int, int] = {}
    for at, pieces in known:
        due[max(at, now)] = due.get(max(at, now), 0) + pieces
    ends = [end for _, end, _ in stocks if end is not None]
    moments = sorted({max(at, now) for at in (*wanted, *due, *rates, *(s[0] for s in stocks), *ends) if at <= last})
    left, unused = [float(n) for _, _, n in stocks], [0.0] * len(stocks)
    there: list[float] = []
    owed = rate = 0.0
    for before, moment in pairwise([now, *moments]):
        owed = _taken(owed + rate * (moment - before), left, stocks, turn, before)
        for i in turn:
            end = stocks[i][1]
            if end is not None and end <= moment and left[i]:
                unused[i], left[i] = left[i], 0.0
        owed = _taken(owed + due.get(moment, 0), left, stocks, turn, moment)
        rate = rates.get(moment, rate)
        there.append(sum(n for n, (start, _, _) in zip(left, stocks, strict=True) if start <= moment) - owed)
    return Path(tuple(moments), tuple(there), tuple(unused))


def left_at_expiry(
    stocks: Sequence[Stock], now: int, known: Iterable[tuple[int, int]], rates: Mapping[int, float]
) -> list[float]:
    """How much of each stock is left at its expiry, however far ahead; 0 of one that never expires."""
    return list(path(stocks, now, known, rates, [end for _, end, _ in stocks if end is not None]).unused)


def _taken(owed: float, left: list[float], stocks: Sequence[Stock], turn: Sequence[int], at: int) -> float:
    """Takes what is owed from the stock that is there at an instant; answers what could not be had."""
    for i in turn:
        if owed <= 0:
            break
        if stocks[i][0] <= at:
            taken = min(left[i], owed)
            left[i] -= taken
            owed -= taken
    return owed
