"""Known bookings as pieces of one product, and what is still to be booked before there is a history.

Forecasts from the practice's own history: core/booking_curve.py, core/forecasts.py.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta

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
