"""Known bookings as pieces of one product, what is still to be booked before there is a history, and what demand leaves.

Forecasts from the practice's own history: core/booking_curve.py, core/forecasts.py.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta
from itertools import pairwise

from stockroom.core.opening import Opening, merged
from stockroom.core.practice import Procedure, Product
from stockroom.core.records import Booking
from stockroom.core.usage import used_by
from stockroom.errors import unknown

WEEK = timedelta(days=7)
Stock = tuple[int, int | None, int]
"""Pieces from an instant on, up to the end of their expiry (None: unknown or never)."""


def known_pieces(
    product: str,
    bookings: Iterable[Booking],
    procedures: Mapping[str, Procedure],
    products: Mapping[str, Product],
) -> tuple[tuple[int, int], ...]:
    """Loose pieces of the product that each booking not yet done will use: (start, pieces), by start.

    Past bookings are in it until somebody says what became of them.

    Raises: Refused for a booking of a procedure that is not known: its demand must not vanish silently.
    """
    found = []
    for booking in bookings:
        if booking.state != "booked":
            continue
        procedure = procedures.get(booking.procedure)
        if procedure is None:
            raise unknown(
                "unknown-procedure", "procedure", booking.procedure, list(procedures),
                f"B-{booking.number} is booked for it: cancel it, or load a practice file that has it",
            )  # fmt: skip
        pieces = used_by(procedure, booking.cycles, products).loose.get(product, 0)
        if pieces:
            found.append((booking.start, pieces))
    return tuple(sorted(found))


def unbooked_mean_procedures(
    procedure: Procedure, opening: Opening, start: int, end: int, known_starts: Sequence[int]
) -> float:
    """How many more of the procedure are expected to be booked for [start, end), before there is any history.

    Sum over the local weeks (from Monday) of max(0, expected_per_week x share - known), where share is the
    week's staffed time inside [start, end), closures applied, over that of a week by the usual hours, and
    known the number of ``known_starts`` in it. A week that is overbooked takes nothing from the next.
    """
    usual = 60 * sum(b - a for day in opening.site.hours for a, b in merged(day))
    if usual == 0 or end <= start:
        return 0.0
    total = 0.0
    day = opening.day(start)
    monday = day - timedelta(days=day.weekday())
    while (week_start := opening.midnight(monday)) < end:
        monday += WEEK
        a, b = max(start, week_start), min(end, opening.midnight(monday))
        staffed = sum(y - x for x, y in opening.spans(a, b))
        known = sum(1 for at in known_starts if a <= at < b)
        total += max(0.0, procedure.expected_per_week * staffed / usual - known)
    return total


def left_at_expiry(
    stocks: Sequence[Stock], now: int, known: Iterable[tuple[int, int]], rates: Mapping[int, float]
) -> list[float]:
    """How much of each stock is left at its expiry, at expected demand, first expired first out.

    Demand is ``known`` (instant, pieces) and a steady rate in pieces a second that changes at the instants of
    ``rates``; demand that nothing is there for waits for the next stock to come. Past demand counts at
    ``now``. Exact between those instants: no day is rounded.
    """
    last = max((max(expiry, now) for _, expiry, _ in stocks if expiry is not None), default=None)
    left = [float(quantity) for _, _, quantity in stocks]
    unused = [0.0] * len(stocks)
    if last is None:
        return unused
    turn = sorted(range(len(stocks)), key=lambda i: (stocks[i][1] is None, stocks[i][1] or 0, stocks[i][0]))
    due: dict[int, int] = {}
    for at, pieces in known:
        due[max(at, now)] = due.get(max(at, now), 0) + pieces
    marks = {now, last, *due, *rates, *(s for s, _, _ in stocks), *(e for _, e, _ in stocks if e is not None)}
    moments = sorted({max(at, now) for at in marks if at <= last})
    owed, rate = 0.0, 0.0
    for before, moment in pairwise([now, *moments]):
        owed = _served(owed + rate * (moment - before), left, stocks, turn, before)
        for i in turn:
            expiry = stocks[i][1]
            if expiry is not None and expiry <= moment and left[i]:
                unused[i], left[i] = left[i], 0.0
        owed = _served(owed + due.get(moment, 0), left, stocks, turn, moment)
        rate = rates.get(moment, rate)
    return unused


def _served(owed: float, left: list[float], stocks: Sequence[Stock], turn: list[int], at: int) -> float:
    """Takes what is owed from the stock that is there at an instant; answers what could not be had."""
    for i in turn:
        if owed <= 0:
            break
        if stocks[i][0] <= at:
            taken = min(left[i], owed)
            left[i] -= taken
            owed -= taken
    return owed
