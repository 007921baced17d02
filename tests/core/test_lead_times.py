"""What a supplier's orders took, and the timing of the next ones by it."""

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.deliveries import covers_until, next_arrival
from stockroom.core.lead_times import LATE, Came, LeadRecord, due, fitting_days, lead_record, timing
from stockroom.core.opening import Opening
from stockroom.core.practice import Closure, Site, Supplier

ZONE = "Europe/London"
DAY = ((480, 960),)  # 08:00-16:00
OPENING = Opening(ZONE, Site("", (DAY, DAY, DAY, DAY, DAY, (), ())))
SUPPLIER = Supplier("Any", order_days=(0, 1, 2, 3, 4), lead_days=2, delivery_days=(0, 1, 2, 3, 4))
MONDAY = date(2026, 3, 2)


def local(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE)).astimezone(UTC).timestamp())


def came(*days: int, order_on: date = MONDAY) -> list[Came]:
    """An order each that came whole after so many days."""
    return [Came(OPENING, order_on, (("CK", order_on + timedelta(days=n), 4),)) for n in days]


@pytest.mark.parametrize(
    ("order_on", "came_on", "days"),
    [
        # derived with a calendar; 2 March 2026 is a Monday, two days are stated, deliveries Monday to Friday
        (0, 2, 2),  # as stated
        (0, 1, 1),
        (0, 4, 4),
        (3, 7, 2),  # Thursday to Monday: two days are Saturday, then on to Monday: as stated
        (4, 7, 2),  # Friday to Monday: likewise
        (4, 8, 4),  # Friday to Tuesday: not before Tuesday needs four, for three are Monday
        (0, 7, 5),  # Monday to Monday: five are Saturday, then on to Monday
        (0, 0, 0),
        (0, -1, 0),  # it came before it should have gone
        (0, 5, 5),  # on a Saturday, when nobody delivers by the rule: not before it
    ],
)
def test_the_nearest_lead_days_that_lead_there(order_on, came_on, days):
    start, end = MONDAY + timedelta(days=order_on), MONDAY + timedelta(days=came_on)
    assert fitting_days(SUPPLIER, OPENING, start, end) == days


@given(st.integers(0, 60), st.integers(0, 30), st.integers(0, 12), st.sets(st.integers(0, 4), min_size=1))
def test_a_delivery_by_the_rule_is_never_told_to_be_otherwise(shift, took, stated, days):
    # a law: what leads to that day leads to that day, and where the stated days do, they are it
    supplier = Supplier("Any", (0, 1, 2, 3, 4), stated, tuple(sorted(days)))
    now = local("2026-03-02T09:00") + shift * 86_400
    way = next_arrival(supplier, OPENING, now, took)
    found = fitting_days(supplier, OPENING, way.order_on, way.arrives_on)
    assert next_arrival(supplier, OPENING, now, found).arrives_on == way.arrives_on
    if next_arrival(supplier, OPENING, now).arrives_on == way.arrives_on:
        assert found == stated


def test_every_order_weighs_the_same_and_its_parts_by_their_pieces():
    # derived: one order came whole after 2 days: 1/2. Of the other one product came whole after 4 days: 1/4; of the second
    # 3 of 4 pieces after 3 days: 3/16, and the last after 4: 1/16, with the first 5/16
    parts = (
        ("CK", MONDAY + timedelta(days=4), 40),
        ("SW", MONDAY + timedelta(days=3), 3),
        ("SW", MONDAY + timedelta(days=4), 1),
    )
    record = lead_record(SUPPLIER, [*came(2), Came(OPENING, MONDAY, parts)])
    assert record is not None
    assert (record.orders, record.shortest, record.longest) == (2, 2, 4)
    assert record.days == ((2, Fraction(1, 2)), (3, Fraction(3, 16)), (4, Fraction(5, 16)))
    assert record.words == "2 orders took 2 to 4 days"
    # what nothing came of tells nothing
    assert lead_record(SUPPLIER, [Came(OPENING, MONDAY, ())]) is None
    assert lead_record(SUPPLIER, [*came(1), Came(OPENING, MONDAY, ())]) == LeadRecord(1, 1, 1, ((1, Fraction(1)),))
    assert LeadRecord(6, 1, 1, ((1, Fraction(1)),)).words == "6 orders took 1 day"


def test_central_and_late():
    # derived: of five, the third is the median; four of five came within 4
    record = lead_record(SUPPLIER, came(1, 2, 3, 4, 9))
    assert record is not None
    assert (record.central, record.within(LATE), record.within(Fraction(1))) == (3, 4, 9)
    # two of four: the lower of both middles
    assert LeadRecord(4, 1, 4, ((1, Fraction(1, 2)), (4, Fraction(1, 2)))).central == 1


@pytest.mark.parametrize(("orders", "used"), [(5, False), (6, True)])
def test_six_orders_are_enough(orders, used):
    record = lead_record(SUPPLIER, came(*[3] * orders))
    now = local("2026-03-02T09:00")
    when = timing(SUPPLIER, OPENING, now, 7, record)
    assert (when.record is not None) is used
    # derived: Monday and three days is Thursday, and two Wednesday; the next one a week later
    assert when.arrival.arrives_on == date(2026, 3, 5 if used else 4)
    assert when.next_at == local("2026-03-12T16:00" if used else "2026-03-11T16:00")
    assert when.arrives_from == local("2026-03-05T08:00" if used else "2026-03-04T08:00")
    assert when.turns == ((1.0, when.arrival.arrives_at, when.next_at),)
    assert due(SUPPLIER, OPENING, now, record) == when.arrival
    # and never where the practice file says so
    stated = Supplier("Any", (0, 1, 2, 3, 4), 2, (0, 1, 2, 3, 4), lead_from_orders=False)
    assert timing(stated, OPENING, now, 7, record).arrival == next_arrival(SUPPLIER, OPENING, now)
    assert due(stated, OPENING, now, record) == next_arrival(SUPPLIER, OPENING, now)


def test_the_timing_of_lead_times_that_vary():
    # derived: of six, four took 2 days, one 3, one 8 (from Monday: Tuesday of the next week). A Monday order arrives on
    # Wednesday, Thursday or that Tuesday, the next one a week later
    record = lead_record(SUPPLIER, came(2, 2, 2, 2, 3, 8))
    now = local("2026-03-02T09:00")
    when = timing(SUPPLIER, OPENING, now, 7, record)
    assert [round(chance, 6) for chance, _, _ in when.turns] == [0.666667, 0.166667, 0.166667]
    assert [then - here for _, here, then in when.turns] == [7 * 86_400] * 3
    assert [here for _, here, _ in when.turns] == [local(f"2026-03-{d}T16:00") for d in ("04", "05", "10")]
    assert (when.arrival.arrives_at, when.next_at) == when.turns[0][1:]
    assert when.arrives_from == local("2026-03-04T08:00")
    # five of six came within 3 days: then it is overdue
    assert due(SUPPLIER, OPENING, now, record).arrives_on == date(2026, 3, 5)


def test_an_order_of_today_may_be_at_the_door_from_now_on():
    quick = Supplier("Any", (0,), 0, (0,))
    now = local("2026-03-02T09:00")
    assert timing(quick, OPENING, now, 7).arrives_from == now


def test_a_closure_in_between_is_no_fault_of_the_supplier():
    # derived: closed Wednesday to Friday, so two days from Monday are the Monday after: as stated
    shut = Opening(ZONE, Site("", OPENING.site.hours, (Closure(date(2026, 3, 4), date(2026, 3, 6)),)))
    assert fitting_days(SUPPLIER, shut, MONDAY, date(2026, 3, 9)) == 2
    found = timing(SUPPLIER, shut, local("2026-03-02T09:00"), 7)
    assert found.next_at == covers_until(SUPPLIER, shut, local("2026-03-02T09:00"), 7, 0)
