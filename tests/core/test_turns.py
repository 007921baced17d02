"""When orders are made in the time ahead. Expectations are derived from the calendar, beside each check."""

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest

from stockroom.core.lead_times import LeadRecord
from stockroom.core.opening import Opening
from stockroom.core.practice import Closure, Site, Supplier
from stockroom.core.turns import Turn, first_morning, turns
from stockroom.errors import Refused

WEEK = (*[((480, 1080),)] * 5, (), ())
OPENING = Opening("Europe/Amsterdam", Site("", WEEK))
SUPPLIER = Supplier("Harbour Supplies", (0, 3), 2, (0, 1, 2, 3, 4), cutoff=840)
MONDAY = OPENING.at(date(2026, 3, 2), 9 * 60)
HOUR = 3600


def days(*found: Turn) -> list[tuple[int, int, int, int]]:
    return [(t.decided, t.stands, t.usable, t.covered) for t in found]


def test_a_turn_a_week() -> None:
    # Monday 2 March, here Wednesday 4 by 18:00, so from Thursday on (day 3), warm 24 hours later, Thursday 18:00: usable
    # on Friday (day 4). The one after it, of Monday 9, likewise a week later.
    first, second, third = turns(SUPPLIER, OPENING, MONDAY, 7, 24 * HOUR, 21)
    assert days(first, second) == [(0, 3, 4, 11), (7, 10, 11, 18)]
    assert third.decided == 14
    # without a warm-up it is usable as soon as it stands there, and so is the next
    assert days(*turns(SUPPLIER, OPENING, MONDAY, 7, 0, 7)) == [(0, 3, 3, 10)]


def test_reviews_that_would_go_with_the_same_order_are_one() -> None:
    # Looked at every day: Monday's before the cut-off goes on Monday; those of Tuesday, Wednesday and Thursday 09:00 go on
    # Thursday; those of Friday and of the week-end on Monday.
    assert [t.decided for t in turns(SUPPLIER, OPENING, MONDAY, 1, 0, 8)] == [0, 1, 4]


def test_a_holiday_of_the_supplier() -> None:
    away = replace(SUPPLIER, closed=(Closure(date(2026, 3, 9), date(2026, 3, 13)),))
    first, second = turns(away, OPENING, MONDAY, 7, 0, 14)
    # The order of Monday 9 goes out on Monday 16 and is here on Wednesday 18: from Thursday 19, day 17
    assert (first.covered, second.decided, second.stands) == (17, 7, 17)


def test_over_a_clock_change_days_stay_days() -> None:
    # clocks go forward on 29 March
    before = OPENING.at(date(2026, 3, 23), 9 * 60)
    assert days(*turns(SUPPLIER, OPENING, before, 7, 24 * HOUR, 14)) == [(0, 3, 4, 11), (7, 10, 11, 18)]


def test_a_morning_begins_when_somebody_comes() -> None:
    at = OPENING.at(date(2026, 3, 3), 8 * 60)
    assert first_morning(OPENING, at) == date(2026, 3, 3)
    assert first_morning(OPENING, at + 1) == date(2026, 3, 4)
    # on a day on which nobody is there it is no morning
    assert first_morning(OPENING, OPENING.at(date(2026, 3, 7), 60)) == date(2026, 3, 8)


def test_lead_times_on_record_take_the_place_of_what_is_stated() -> None:
    # Of ten orders six came as stated, two in four lead days, two in twelve (two days more end on a week-end: Monday). That
    # of Monday 2 March comes on Wednesday 4, Friday 6 or Monday 16; the next one, of Monday 9, a week later. Eight of ten
    # come within four days, so it is overdue after Friday.
    record = LeadRecord(10, 2, 14, ((2, Fraction(3, 5)), (4, Fraction(1, 5)), (12, Fraction(1, 5))))
    (turn,) = turns(SUPPLIER, OPENING, MONDAY, 7, 0, 7, record)
    assert days(turn) == [(0, 3, 3, 10)]
    assert [(c.chance, c.usable, c.covered) for c in turn.courses] == [(0.6, 3, 10), (0.2, 5, 12), (0.2, 15, 22)]
    assert (turn.at, turn.door, turn.soonest, turn.expected) == (MONDAY, 2, 3, 5)
    assert turn.courses[1].usable_at == OPENING.at(date(2026, 3, 6), 18 * 60)
    # five orders are too few, and the practice may leave them aside: what is stated is all that may be
    for supplier, told in ((SUPPLIER, replace(record, orders=5)), (replace(SUPPLIER, lead_from_orders=False), record)):
        (turn,) = turns(supplier, OPENING, MONDAY, 7, 0, 7, told)
        assert [(c.chance, c.usable, c.covered) for c in turn.courses] == [(1.0, 3, 10)] and turn.expected == 3


def test_a_supplier_that_never_delivers() -> None:
    never = replace(SUPPLIER, delivery_days=(6,))
    with pytest.raises(Refused) as fault:
        turns(never, OPENING, MONDAY, 7, 0, 7)
    assert fault.value.slug == "no-delivery"
