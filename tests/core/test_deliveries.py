"""Order days, cut-off, lead days, delivery days, and somebody there."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.deliveries import covers_until, next_arrival, order_day
from stockroom.core.opening import DayException, Opening
from stockroom.core.practice import Closure, Site, Supplier
from stockroom.errors import Refused

ZONE = "Europe/London"
WORK = ((510, 750), (810, 1050))  # 08:30-12:30, 13:30-17:30
OPENING = Opening(ZONE, Site("", (WORK, WORK, WORK, WORK, ((510, 750),), (), ())))  # Friday to 12:30
SUPPLIER = Supplier("Any", order_days=(0, 3), lead_days=3, delivery_days=(1, 2, 3, 4), cutoff=840)  # to 14:00


def local(text: str, zone: str = ZONE) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC).timestamp())


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


@pytest.mark.parametrize(
    ("now", "order_by", "arrives_on"),
    [
        # derived with a calendar; 2026-03-02 is a Monday
        ("2026-03-02T10:00", "2026-03-02T14:00", date(2026, 3, 5)),  # Monday + 3 = Thursday
        ("2026-03-02T14:00", "2026-03-02T14:00", date(2026, 3, 5)),  # at the cut-off it still goes
        ("2026-03-02T14:00:01", "2026-03-05T14:00", date(2026, 3, 10)),  # Thursday + 3 = Sunday -> Tuesday
        ("2026-03-01T23:00", "2026-03-02T14:00", date(2026, 3, 5)),  # from Sunday night
        ("2026-03-27T12:00", "2026-03-30T14:00", date(2026, 4, 2)),  # over the clock change of 2026-03-29
    ],
)
def test_where_an_order_goes(now, order_by, arrives_on):
    arrival = next_arrival(SUPPLIER, OPENING, local(now))
    assert (arrival.order_by, arrival.arrives_on) == (local(order_by), arrives_on)
    assert arrival.order_on == date.fromisoformat(order_by[:10])
    assert arrival.arrives_at == local(f"{arrives_on}T17:30"), "counted from the end of the staffed day"


def test_somebody_must_take_it_in():
    # derived: Thursday 5 March closed; Friday is staffed to 12:30 and a delivery day
    shut = Opening(ZONE, OPENING.site, (DayException(date(2026, 3, 5), open=False),))
    arrival = next_arrival(SUPPLIER, shut, local("2026-03-02T10:00"))
    assert arrival.arrives_at == local("2026-03-06T12:30")
    holiday = Opening(ZONE, Site("", OPENING.site.hours, (Closure(date(2026, 3, 5), date(2026, 3, 8)),)))
    assert next_arrival(SUPPLIER, holiday, local("2026-03-02T10:00")).arrives_on == date(2026, 3, 10), (
        "Monday is no delivery day"
    )


def test_a_closed_supplier_neither_takes_orders_nor_delivers():
    # derived: Monday 2 March closed -> Thursday 5; + 3 = Sunday -> Tuesday 10, closed -> Wednesday 11
    shut = tuple(Closure(day, day) for day in (date(2026, 3, 2), date(2026, 3, 10)))
    closed = Supplier("Any", (0, 3), 3, (1, 2, 3, 4), 840, closed=shut)
    arrival = next_arrival(closed, OPENING, local("2026-03-02T10:00"))
    assert (arrival.order_on, arrival.arrives_on) == (date(2026, 3, 5), date(2026, 3, 11))


def test_the_same_day_only_while_somebody_is_still_there():
    daily = Supplier("Any", (0, 1, 2, 3, 4), 0, (0, 1, 2, 3, 4), 1440)
    assert next_arrival(daily, OPENING, local("2026-03-02T10:00")).arrives_on == date(2026, 3, 2)
    assert next_arrival(daily, OPENING, local("2026-03-02T18:00")).arrives_on == date(2026, 3, 3)


@pytest.mark.parametrize(
    ("supplier", "opening"),
    [
        (Supplier("Any", (0,), 1, (1,), 840, closed=(Closure(date(2026, 1, 1), date(2030, 1, 1)),)), OPENING),
        (Supplier("Any", (), 1, (1,)), OPENING),
        (Supplier("Any", (0,), 1, (5, 6)), OPENING),  # delivers when nobody is there
        (SUPPLIER, Opening(ZONE, Site("", ((),) * 7))),
    ],
)
def test_a_delivery_that_never_comes_is_refused(supplier, opening):
    with pytest.raises(Refused, match='supplier "Any"'):
        next_arrival(supplier, opening, local("2026-03-02T10:00"))


def test_the_minute_of_the_cut_off():
    # derived: at 14:00:00 it goes today, a second later on Thursday; where the cut-off is the end of the day, the
    # instant that begins the next day is too late
    for second, order_on in ((0, date(2026, 3, 2)), (1, date(2026, 3, 5)), (59, date(2026, 3, 5))):
        assert order_day(SUPPLIER, OPENING, local("2026-03-02T14:00") + second)[0] == order_on
    midnight = Supplier("Any", (0,), 1, (1, 2), 1440)
    for second, order_on in ((-1, date(2026, 3, 2)), (0, date(2026, 3, 9)), (1, date(2026, 3, 9))):
        assert order_day(midnight, OPENING, local("2026-03-03T00:00") + second)[0] == order_on


def test_a_cut_off_in_the_hour_that_is_left_out_or_comes_twice():
    # derived: on 29 March 2026 01:30 does not exist in London: it stands for 02:00 summer time, 01:00 UTC. On 25 October it
    # comes twice: the first, 00:30 UTC
    sundays = Supplier("Any", (6,), 2, (1, 2), 90)
    assert order_day(sundays, OPENING, local("2026-03-28T12:00")) == (date(2026, 3, 29), utc("2026-03-29T01:00"))
    assert order_day(sundays, OPENING, local("2026-10-24T12:00")) == (date(2026, 10, 25), utc("2026-10-25T00:30"))
    assert order_day(sundays, OPENING, utc("2026-10-25T00:31"))[0] == date(2026, 11, 1)


def test_an_order_day_on_which_the_practice_is_closed_is_still_one():
    # derived: an order can be sent from anywhere; only the delivery needs somebody there. Monday 2 March closed: it goes
    # that day all the same, and arrives on Thursday
    shut = Opening(ZONE, OPENING.site, (DayException(date(2026, 3, 2), open=False),))
    assert next_arrival(SUPPLIER, shut, local("2026-03-02T10:00")).arrives_on == date(2026, 3, 5)


def test_lead_days_over_a_suppliers_holiday():
    # derived: the lead days are calendar days, a closed day among them counts; only the day of arrival moves on: Monday + 3
    # is Thursday though Tuesday and Wednesday are closed, Friday where Thursday is closed too
    for days, arrives_on in (((3, 4), date(2026, 3, 5)), ((3, 5), date(2026, 3, 6))):
        closed = (Closure(date(2026, 3, days[0]), date(2026, 3, days[1])),)
        supplier = Supplier("Any", (0, 3), 3, (1, 2, 3, 4), 840, closed=closed)
        assert next_arrival(supplier, OPENING, local("2026-03-02T10:00")).arrives_on == arrives_on


@pytest.mark.parametrize(
    ("review", "covered"),
    [
        # derived: now Monday 2 March 10:00, orders Mondays and Thursdays, three days on, deliveries Tuesday to Friday:
        # Thursday's arrive on Tuesday, Monday's on Thursday
        (1, "2026-03-10T17:30"),  # the review of Tuesday orders on Thursday the 5th
        (3, "2026-03-10T17:30"),  # that of Thursday 10:00 too
        (4, "2026-03-12T17:30"),  # that of Friday on Monday the 9th
        (7, "2026-03-12T17:30"),
        (10, "2026-03-17T17:30"),  # Thursday the 12th
        (11, "2026-03-19T17:30"),  # Friday the 13th -> Monday the 16th
        (31, "2026-04-07T17:30"),  # Thursday 2 April, and Sunday the 5th is no delivery day
    ],
)
def test_a_review_need_not_be_a_week(review, covered):
    assert covers_until(SUPPLIER, OPENING, local("2026-03-02T10:00"), review, 0) == local(covered)


def test_lead_days_that_were_measured_take_the_place_of_those_stated():
    # derived: Monday + 5 is Saturday, then on to Tuesday
    assert next_arrival(SUPPLIER, OPENING, local("2026-03-02T10:00"), 5).arrives_on == date(2026, 3, 10)
    assert covers_until(SUPPLIER, OPENING, local("2026-03-02T10:00"), 7, 0, 5) == local("2026-03-17T17:30")
    assert next_arrival(SUPPLIER, OPENING, local("2026-03-02T10:00"), 0).arrives_on == date(2026, 3, 3)


def test_warm_up_runs_on_over_a_clock_change():
    # derived: now Wednesday 18 March; the order of the 25th arrives on Friday 27 at 12:30; 48 hours later it is summer time
    wednesdays = Supplier("Any", (2,), 2, (4,), 840)
    got = covers_until(wednesdays, OPENING, local("2026-03-18T10:00"), 7, 48 * 3600)
    assert got == local("2026-03-29T13:30")


def test_until_the_next_order_can_be_used():
    # derived: now Monday 2 March 10:00; the next one, 9 March, arrives Thursday 12, 17:30; 30 h
    got = covers_until(SUPPLIER, OPENING, local("2026-03-02T10:00"), 7, 30 * 3600)
    assert got == local("2026-03-12T17:30") + 30 * 3600


def test_a_review_later_is_counted_by_the_local_clock():
    # derived: Monday 23 March 13:30 is before the cut-off; a week of seconds later it is 14:30 by summer time
    now = local("2026-03-23T13:30")
    assert covers_until(SUPPLIER, OPENING, now, 7, 0) == local("2026-04-02T17:30")
    assert next_arrival(SUPPLIER, OPENING, now + 7 * 86_400).order_on == date(2026, 4, 2)
    # half a minute past the cut-off is past it a week later too: Thursday 12 March -> Tuesday 17
    assert covers_until(SUPPLIER, OPENING, local("2026-03-02T14:00:30"), 7, 0) == local("2026-03-17T17:30")


def test_the_order_after_is_another_order():
    # derived: orders on Mondays only; a review of 1 day later would still be the order of Monday 9 March
    mondays = Supplier("Any", (0,), 2, (2,), 840)
    assert covers_until(mondays, OPENING, local("2026-03-03T10:00"), 1, 0) == local("2026-03-18T17:30")
    # and with the 9th a holiday, a review of 7 days would meet the order of the 16th twice
    holiday = Supplier("Any", (0,), 2, (2,), 840, closed=(Closure(date(2026, 3, 9), date(2026, 3, 9)),))
    assert next_arrival(holiday, OPENING, local("2026-03-05T10:00")).order_on == date(2026, 3, 16)
    assert covers_until(holiday, OPENING, local("2026-03-05T10:00"), 7, 0) == local("2026-03-25T17:30")


WEEKDAYS = st.sets(st.integers(0, 4), min_size=1).map(lambda days: tuple(sorted(days)))


@given(
    WEEKDAYS,
    WEEKDAYS,
    st.integers(0, 9),
    st.integers(0, 1440),
    st.integers(0, 400 * 86_400),
    st.integers(1, 20),
)
def test_laws_of_arrival(order_days, delivery_days, lead, cutoff, shift, review):
    now = local("2026-01-01T00:00") + shift
    supplier = Supplier("Any", order_days, lead, delivery_days, cutoff)
    arrival = next_arrival(supplier, OPENING, now)
    assert arrival.order_by >= now
    assert arrival.order_on.weekday() in order_days
    assert arrival.arrives_on.weekday() in delivery_days
    assert (arrival.arrives_on - arrival.order_on).days >= lead
    assert arrival.arrives_at > now
    assert OPENING.staffed(arrival.arrives_at - 1)
    assert covers_until(supplier, OPENING, now, review, 0) >= arrival.arrives_at
    assert next_arrival(supplier, OPENING, now + 3600).arrives_at >= arrival.arrives_at
