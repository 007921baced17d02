"""Known and unbooked demand, and what expected demand leaves of the stock."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from stockroom.core.demand import (
    known_pieces,
    unbooked_mean_procedures,
)
from stockroom.core.opening import DayException, Opening
from stockroom.core.practice import Closure, Procedure, Product, Site, Use
from stockroom.core.records import Booking
from stockroom.errors import Refused

ZONE = "Europe/London"
DAY = ((540, 1020),)  # 09:00-17:00
OPENING = Opening(ZONE, Site("", (DAY, DAY, DAY, DAY, DAY, (), ())))
WHITENING = Procedure(
    "whitening", 45, 10, cycles=6, expected_per_week=3.0,
    uses=(Use("CK", each=1), Use("SWAB", per_cycles=2, spare=1)),
)  # fmt: skip
DOUBLE = Procedure("double", 60, 10, cycles=7, expected_per_week=0.5, uses=(Use("CK", each=2), Use("SWAB", each=10)))
PRODUCTS = {
    "CK": Product("CK", "kit", "kit", "S", contains=(("SWAB", 4),)),
    "SWAB": Product("SWAB", "swab", "supply", "S"),
}


def local(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE)).astimezone(UTC).timestamp())


def booked(number: int, start: int, procedure: str = "whitening", cycles: int | None = None, state: str = "booked"):
    return Booking(number, None, "", procedure, start, start + 3600, "P-1", cycles, state, 0, 0, 1)


def test_what_is_known():
    # derived: a kit each (two for a double); swabs beyond the four inside: 6 cycles 0, 8 cycles 1,
    # a double 10 - 8 = 2
    bookings = [
        booked(1, 900), booked(2, 500, cycles=8), booked(3, 700, "double"),
        booked(4, 100, state="done"), booked(5, 100, state="cancelled"), booked(6, 100, state="missed"),
    ]  # fmt: skip
    procedures = {p.code: p for p in (WHITENING, DOUBLE)}
    assert known_pieces("CK", bookings, procedures, PRODUCTS) == ((500, 1), (700, 2), (900, 1))
    assert known_pieces("SWAB", bookings, procedures, PRODUCTS) == ((500, 1), (700, 2))
    assert known_pieces("CUP", bookings, procedures, PRODUCTS) == ()


def test_a_booking_of_a_procedure_that_is_gone_is_not_lost_silently():
    with pytest.raises(Refused, match='"whitning"') as refused:
        known_pieces("CK", [booked(7, 5, "whitning")], {"whitening": WHITENING}, PRODUCTS)
    assert "B-7" in refused.value.todo


@pytest.mark.parametrize(
    ("start", "end", "known", "mean"),
    [
        # derived; 2026-03-02 is a Monday, 3 expected in a week of five days
        ("2026-03-02T00:00", "2026-03-16T00:00", [], 6.0),
        ("2026-03-02T00:00", "2026-03-16T00:00", ["2026-03-03T10:00"], 5.0),
        # an overbooked week takes nothing from the next: max(0, 3 - 4) + 3
        ("2026-03-02T00:00", "2026-03-16T00:00", ["2026-03-03T10:00"] * 4, 3.0),
        # from Wednesday: 3/5 of the week; a booking of the Tuesday before it does not count
        ("2026-03-04T00:00", "2026-03-09T00:00", ["2026-03-03T10:00"], 1.8),
        # Wednesday 13:00 to Tuesday 13:00: 2.5 days of one week and 1.5 of the next; one booked in the second
        ("2026-03-04T13:00", "2026-03-10T13:00", ["2026-03-09T09:00"], 1.5),
        # the week of the clock change is a week like any other
        ("2026-03-23T00:00", "2026-03-30T00:00", [], 3.0),
        # an empty span, and one in which nobody is there
        ("2026-03-04T00:00", "2026-03-04T00:00", [], 0.0),
        ("2026-03-07T00:00", "2026-03-09T00:00", [], 0.0),
    ],
)
def test_unbooked_mean_before_there_is_history(start, end, known, mean):
    got = unbooked_mean_procedures(WHITENING, OPENING, local(start), local(end), [local(k) for k in known])
    assert got == pytest.approx(mean)


def test_closures_take_their_share_and_extra_hours_add_theirs():
    # derived: two of five days closed -> 1.8; a Saturday like a weekday -> 3.6
    shut = Opening(ZONE, Site("", OPENING.site.hours, (Closure(date(2026, 3, 5), date(2026, 3, 6)),)))
    assert unbooked_mean_procedures(WHITENING, shut, local("2026-03-02"), local("2026-03-09"), []) == pytest.approx(1.8)
    extra = Opening(ZONE, OPENING.site, (DayException(date(2026, 3, 7), True, 540, 1020),))
    assert unbooked_mean_procedures(WHITENING, extra, local("2026-03-02"), local("2026-03-09"), []) == pytest.approx(
        3.6
    )
    never = Opening(ZONE, Site("", ((),) * 7))
    assert unbooked_mean_procedures(WHITENING, never, local("2026-03-02"), local("2026-03-09"), []) == 0
