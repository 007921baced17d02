"""Bookings and what is still to be booked, as pieces of one product.

Forecasts of the number of procedures still to be booked are functions of the same shape as
``unbooked_mean_procedures``: a mean for a time between two instants. ``unbooked_pieces`` turns such means,
from whichever forecast, into the distribution of pieces.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta

from stockroom.core.counts import Pmf, compound, convolution, poisson
from stockroom.core.opening import Opening, merged
from stockroom.core.practice import Procedure, Product
from stockroom.core.records import Booking
from stockroom.core.usage import used_by
from stockroom.errors import unknown

WEEK = timedelta(days=7)


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


def unbooked_pieces(
    product: str, procedures: Iterable[Procedure], means: Mapping[str, float], products: Mapping[str, Product]
) -> Pmf:
    """Loose pieces that procedures not yet booked will use: for each a Poisson number with its mean (by code;
    none where it is not named) times what it uses at its usual number of cycles, added up as independent.
    """
    parts = []
    for procedure in procedures:
        pieces = used_by(procedure, None, products).loose.get(product, 0)
        mean = means.get(procedure.code, 0.0)
        if pieces and mean > 0:
            parts.append(compound(poisson(mean), pieces))
    return convolution(parts)


def pieces_per_day(product: str, procedures: Iterable[Procedure], products: Mapping[str, Product]) -> float:
    """Expected loose pieces a calendar day in the long run: what expected_per_week says, booked or not."""
    return sum(
        procedure.expected_per_week * used_by(procedure, None, products).loose.get(product, 0) / 7
        for procedure in procedures
    )


def pickup(triangle: Sequence[Sequence[float]]) -> list[float]:
    """Expected final bookings of the weeks not yet complete, additive pick-up, advanced form (Wickham 1995).

    Rows are weeks, oldest first; columns what was booked by each stage before the week, cumulative; the first
    row is complete. A stage's mean increment is that of all weeks that have passed it, incomplete or not.

    Raises: ValueError where a row is empty or longer than the first.
    """
    stages = len(triangle[0]) if triangle else 0
    if any(not 0 < len(row) <= stages for row in triangle):
        raise ValueError("a week without a stage, or with more than the first week has")
    steps = []
    for stage in range(1, stages):
        gains = [row[stage] - row[stage - 1] for row in triangle if len(row) > stage]
        steps.append(sum(gains) / len(gains))
    return [row[-1] + sum(steps[len(row) - 1 :]) for row in triangle if len(row) < stages]


def tsb(series: Sequence[float], alpha_d: float, alpha_p: float) -> float:
    """Expected demand of the next period where many are empty (Teunter, Syntetos & Babai 2011).

    The chance of a demand, smoothed every period with alpha_p from the first period's 0 or 1 on, times the
    size of a demand, smoothed with alpha_d over the periods that had one, from the first of these on. Zero
    where there was none.

    Raises: ValueError where a smoothing constant is not between 0 and 1.
    """
    if not (0 <= alpha_d <= 1 and 0 <= alpha_p <= 1):
        raise ValueError(f"smoothing constants {alpha_d} and {alpha_p}")
    sizes = [y for y in series if y > 0]
    if not sizes:
        return 0.0
    return _smoothed(sizes, alpha_d) * _smoothed([float(y > 0) for y in series], alpha_p)


def _smoothed(values: Sequence[float], alpha: float) -> float:
    level = float(values[0])
    for value in values[1:]:
        level += alpha * (value - level)
    return level
