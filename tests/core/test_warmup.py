"""The warm-up plan: states, times, promises, ways out."""

from dataclasses import replace
from datetime import date, datetime

import pytest
from diary_cases import ALWAYS, CK, HOUR, MONDAY, PLACE, kit, moment, need, opening, practice, row, rows, stock

from stockroom.core.opening import DayException
from stockroom.core.practice import Closure
from stockroom.core.warmup import plan, ready_at, use_by, wasted

# Times.


@pytest.mark.parametrize(
    ("zone", "start", "by"),
    [
        ("Europe/Amsterdam", "2026-03-29T10:00+02:00", "2026-03-28T09:00+01:00"),
        ("Europe/Amsterdam", "2026-10-25T10:00+01:00", "2026-10-24T11:00+02:00"),
        ("Europe/London", "2026-03-29T13:00+01:00", "2026-03-28T12:00+00:00"),
    ],
)
def test_24_hours_are_elapsed_hours(zone, start, by):
    """Derived: over a clock change the clock shows an hour less or more the day before."""
    place = opening(zone, ALWAYS)
    only = row(need(start), moment(by) - 60, fridge=[stock()], place=place)
    assert only.take_out_by == only.take_out_staffed_by == moment(by)
    assert only.state == "due"


def test_closed_weekend_at_the_margin_0():
    """Derived, 24 h: Friday to 16:00, week-end closed, 72 h out, 105 minutes on Monday 09:00."""
    only = row(need("2026-03-02T09:00"), "2026-02-26T12:00", fridge=[stock()], margin=0)
    assert only.take_out_from == moment("2026-02-27T10:45")
    assert only.take_out_by == moment("2026-03-01T09:00")
    assert only.take_out_staffed_by == moment("2026-02-27T16:00")
    assert (only.state, only.lot, only.place, only.quantity) == ("planned", "L1", "Fridge 1", 1)
    assert (only.pull, only.pulled_at, only.ready_at, only.use_by, only.earliest_start) == (None,) * 5
    assert only.todo == "warmup list --day 2026-02-27"


@pytest.mark.parametrize(
    ("now", "state"),
    [
        ("2026-02-26T23:59", "planned"),
        ("2026-02-27T00:00", "due"),  # from 10:45 on, which comes today
        ("2026-02-27T15:45", "due"),
        ("2026-02-27T15:45:01", "blocked"),
        ("2026-03-01T09:00", "blocked"),
        ("2026-03-01T09:00:01", "late"),
    ],
)
def test_the_states_of_a_booking_after_a_closed_weekend(now, state):
    """Derived: the same booking with a margin of 15 minutes must leave the fridge by Friday 15:45."""
    local = datetime.fromisoformat(now)
    only = row(need(MONDAY), moment(now), fridge=[stock()])
    assert only.take_out_staffed_by == moment("2026-02-27T15:45")
    assert only.state == state, local
    assert (only.lot is None) == (state in ("blocked", "late"))


def test_rounds_take_the_place_of_the_margin():
    """Derived: with rounds at 08:45 and 16:45 Friday's last is 08:45, before 10:45: blocked; with 15:50, due."""
    early = row(need(MONDAY), "2026-02-26T12:00", fridge=[stock()], rounds=(525, 1005))
    assert (early.state, early.take_out_staffed_by) == ("blocked", moment("2026-02-27T08:45"))
    late = row(need(MONDAY), "2026-02-27T12:00", fridge=[stock()], rounds=(525, 950))
    assert (late.state, late.take_out_staffed_by) == ("due", moment("2026-02-27T15:50"))


def test_blocked_by_too_few_hours_out_names_both_ways_out():
    """Derived, 48 h out: from Saturday 10:45 to Sunday 09:00 nobody is in; taken out on Monday 08:45 it is warm on
    Tuesday 08:45; taken out now, on Thursday 12:00, on Friday 12:00."""
    only = row(need(MONDAY), "2026-02-26T12:00", fridge=[stock()], product=replace(CK, max_out_seconds=48 * HOUR))
    assert only.state == "blocked"
    assert only.take_out_from == moment("2026-02-28T10:45")
    assert only.earliest_start == moment("2026-02-27T12:00")
    assert "between Sat 28 Feb 10:45 and Sun 1 Mar 09:00" in only.why
    assert "somebody comes in at Sun 1 Mar 09:00" in only.why  # the latest moment, and by day
    assert "it starts at Tue 3 Mar 08:45 (opening hours only, not chairs or clinicians)" in only.why
    assert only.todo == "booking move B-7 --start 2026-03-03T08:45"


def test_somebody_coming_in_unblocks_it():
    came = DayException(date(2026, 2, 28), open=True, from_minute=660, to_minute=720)
    place = opening(exceptions=[came])
    product = replace(CK, max_out_seconds=48 * HOUR)
    only = row(need(MONDAY), "2026-02-26T12:00", fridge=[stock()], product=product, place=place)
    assert (only.state, only.take_out_staffed_by) == ("planned", moment("2026-02-28T11:45"))


def test_closures_move_the_day_to_take_out():
    """Derived: Monday and Tuesday closed, booking on Wednesday 10:00: Friday is 5 days back, more than 72 h."""
    place = opening(closed=[Closure(date(2026, 3, 2), date(2026, 3, 3))])
    only = row(need("2026-03-04T10:00"), "2026-02-26T12:00", fridge=[stock()], place=place)
    assert (only.state, only.take_out_staffed_by) == ("blocked", moment("2026-02-27T15:45"))


def test_late_says_when_it_could_be():
    """Derived: Monday 10:00 now, booking Tuesday 09:00. Out at once it is warm on Tuesday 10:00."""
    only = row(need("2026-03-03T09:00"), "2026-03-02T10:00", fridge=[stock()])
    assert (only.state, only.earliest_start) == ("late", moment("2026-03-03T10:00"))
    assert only.take_out_by == moment("2026-03-02T09:00")
    assert only.todo == "booking move B-7 --start 2026-03-03T10:10"  # ten minutes to take it out


def test_late_waits_for_somebody_and_for_a_span_that_is_long_enough():
    """Derived: Monday 17:20, within the margin: out on Tuesday 08:45, warm on Wednesday 08:45. On Thursday 16:30
    now, 105 minutes: warm on Friday 16:30, closed by then, so Monday 08:30."""
    assert row(need("2026-03-03T12:00"), "2026-03-02T17:20", fridge=[stock()]).earliest_start == moment(
        "2026-03-04T08:45"
    )
    assert row(need("2026-03-06T09:00"), "2026-03-05T16:30", fridge=[stock()]).earliest_start == moment(
        "2026-03-09T08:30"
    )


def test_late_with_a_kit_that_is_out_and_not_yet_warm():
    """Derived: P-1 out on Monday 12:00 is warm on Tuesday 12:00, sooner than one taken out on Monday 15:00."""
    only = row(need("2026-03-03T10:00"), "2026-03-02T15:00", [kit(1, "2026-03-02T12:00")], [stock()])
    assert (only.state, only.pull, only.earliest_start) == ("late", None, moment("2026-03-03T12:00"))


def test_late_at_a_kit_s_last_days_is_short():
    """Derived: the only kit expires at the end of Tuesday; moved to Wednesday it would not be served."""
    only = row(need("2026-03-03T12:00"), "2026-03-02T17:20", fridge=[stock(expiry="2026-03-04T00:00")])
    assert (only.state, only.earliest_start, only.todo) == ("short", None, "reorder list")


def test_two_late_bookings_and_one_kit():
    """Derived: moving helps one of them; the other is short, and says that moving would not help."""
    first, second = rows(
        [need("2026-03-03T09:00", 1), need("2026-03-03T10:00", 2)], "2026-03-02T12:00", fridge=[stock()]
    )
    assert (first.state, second.state) == ("late", "short")
    assert "would not help" in second.why


def test_hours_out_too_few_for_any_start():
    """Derived: 24 h to warm and 105 minutes do not fit into 25 h, whoever comes in."""
    only = row(need(MONDAY), "2026-02-26T12:00", fridge=[stock()], product=replace(CK, max_out_seconds=25 * HOUR))
    assert (only.state, only.earliest_start) == ("blocked", None)
    assert "longer than the 25 h" in only.why


# Kits out.


def test_ready_and_warming_and_the_last_second_of_a_kit():
    """Derived: out Monday 09:00, warm Tuesday 09:00, to be used by Thursday 09:00."""
    pulled = kit(5, "2026-03-02T09:00")
    warming = row(need("2026-03-03T09:00"), "2026-03-03T08:59", [pulled])
    assert (warming.state, warming.pull, warming.place) == ("warming", 5, None)
    assert (warming.pulled_at, warming.ready_at) == (moment("2026-03-02T09:00"), moment("2026-03-03T09:00"))
    assert warming.use_by == moment("2026-03-05T09:00")
    ready = row(need("2026-03-03T09:00"), "2026-03-03T09:00", [pulled])
    assert (ready.state, ready.todo) == ("ready", "booking done B-7")
    assert "only the time is known" in ready.why
    assert row(need("2026-03-05T07:15"), "2026-03-03T12:00", [pulled]).state == "ready"
    assert row(need("2026-03-05T07:16"), "2026-03-03T12:00", [pulled]).state == "short"


def test_a_kit_keeps_its_hours_out_and_ends_with_its_expiry_day():
    """Derived: 30 of 72 h used up leave 42; the end of the expiry day may come first."""
    pulled = kit(5, "2026-03-02T09:00", out_before=30 * HOUR)
    assert use_by(pulled, CK) == moment("2026-03-04T03:00")
    assert ready_at(pulled, CK) == moment("2026-03-03T09:00")
    assert use_by(replace(pulled, expiry_end=moment("2026-03-04T00:00")), CK) == moment("2026-03-04T00:00")


def test_unknown_hours_out_ask_the_maker():
    unknown = replace(CK, max_out_seconds=None)
    pulled = kit(5, "2026-03-02T09:00")
    assert use_by(pulled, unknown) is None
    out = row(need("2026-03-20T09:00"), "2026-03-03T12:00", [pulled], product=unknown)
    assert (out.state, out.use_by, out.take_out_from) == ("ready", None, None)
    assert "ask the maker" in out.why
    inside = row(need("2026-03-20T09:00"), "2026-03-03T12:00", fridge=[stock()], product=unknown)
    assert inside.state == "planned"
    assert "ask the maker" in inside.why
    # Its last day is known all the same.
    assert row(need("2027-01-01T09:00"), "2026-03-03T12:00", [pulled], product=unknown).state == "short"


def test_a_kit_put_back_warms_anew_and_has_fewer_hours_left():
    """Derived: 105 minutes on Monday 09:00 out since Friday 15:45 take 67 h; 72 - 10 are too few, 72 - 5 just do."""
    ten, five = stock(out_before=10 * HOUR), stock(out_before=5 * HOUR)
    assert row(need(MONDAY), "2026-02-26T12:00", fridge=[ten]).state == "short"
    just = row(need(MONDAY), "2026-02-26T12:00", fridge=[five])
    assert (just.state, just.take_out_from) == ("planned", moment("2026-02-27T15:45"))


# Which kit.


def test_out_kits_are_not_spent_on_what_the_fridge_can_serve():
    """Derived: one kit out, one in the fridge, a booking on Friday and one on Monday that nobody can take out for."""
    product = replace(CK, max_out_seconds=48 * HOUR)
    pulled = kit(5, "2026-02-26T09:00", out_before=-48 * HOUR)  # an allowance on record: good until Monday
    friday, monday = rows(
        [need("2026-02-27T13:00", 1), need("2026-03-02T07:00", 2)],
        "2026-02-26T12:00",
        [pulled],
        [stock()],
        product=product,
    )
    assert (friday.state, friday.pull) == ("due", None)
    assert (monday.state, monday.pull) == ("warming", 5)


def test_first_expired_first_out_and_the_quantity_of_a_lot():
    fridge = [stock(5), stock(1, "2026-06-01T00:00", lot=2, lot_code="L2", place="Fridge 2")]
    first, second = rows([need("2026-03-10T09:00", 1), need("2026-03-11T09:00", 2)], "2026-03-02T12:00", fridge=fridge)
    assert (first.lot, first.place, second.lot, second.place) == ("L2", "Fridge 2", "L1", "Fridge 1")


def test_a_booking_that_needs_two_kits_has_two_rows():
    two = [need("2026-03-10T09:00"), need("2026-03-10T09:00")]
    assert [r.state for r in rows(two, "2026-03-02T12:00", fridge=[stock()])] == ["planned", "short"]
    assert [r.state for r in rows(two, "2026-03-02T12:00", fridge=[stock(2)])] == ["planned", "planned"]


def test_sites_and_products_do_not_help_each_other():
    other = need("2026-03-10T09:00", 2, site="North")
    both = plan(
        [need("2026-03-10T09:00", 1), other],
        [kit(5, "2026-03-09T09:00")],
        [stock()],
        practice(),
        {"": PLACE, "North": PLACE},
        moment("2026-03-09T10:00"),
    )
    assert [(r.site, r.state) for r in both] == [("", "warming"), ("North", "short")]
    assert "there is no usable CK" in both[1].why


def test_what_needs_no_warming_has_no_row():
    supply = replace(CK, kind="supply")
    assert rows([need("2026-03-10T09:00")], "2026-03-02T12:00", product=supply) == []
    assert rows([need("2026-03-10T09:00", product="??")], "2026-03-02T12:00") == []


# Promises.


def test_a_promise_stays_while_the_kit_can_serve():
    """Derived: both kits serve both bookings; by use-by alone P-1 would go to the earlier booking."""
    kits = [kit(1, "2026-03-02T09:00", promised_to=2), kit(2, "2026-03-02T10:00")]
    first, second = rows([need("2026-03-03T11:00", 1), need("2026-03-03T12:00", 2)], "2026-03-02T12:00", kits)
    assert (first.pull, second.pull) == (2, 1)
    # The same said by the booking instead of by the kit.
    kits[0] = replace(kits[0], promised_to=None)
    needs = [need("2026-03-03T11:00", 1), need("2026-03-03T12:00", 2, promised=(1,))]
    assert [r.pull for r in rows(needs, "2026-03-02T12:00", kits)] == [2, 1]


def test_a_moved_booking_frees_a_kit_that_can_no_longer_serve():
    pulled = kit(1, "2026-03-02T09:00", promised_to=2)
    first, second = rows(
        [need("2026-03-03T11:00", 1), need("2026-03-16T12:00", 2)], "2026-03-02T12:00", [pulled], [stock()]
    )
    assert (first.pull, second.pull, second.state) == (1, None, "planned")


def test_a_kit_of_a_booking_that_started_or_is_unknown_is_not_offered():
    now = "2026-03-03T12:00"
    started = need("2026-03-03T11:30", 2)
    for kits, expected in (
        ([kit(1, "2026-03-02T09:00", promised_to=2)], [1, None]),
        ([kit(1, "2026-03-02T12:00", promised_to=2)], [None, None]),  # not warm, but in use by now
        ([kit(1, "2026-03-02T09:00", promised_to=99)], [None, None]),
    ):
        both = rows([started, need("2026-03-03T14:00", 3)], now, kits)
        assert [r.pull for r in both] == expected


def test_an_extra_kit_of_a_booking_is_kept_for_it():
    kits = [kit(1, "2026-03-02T09:00", promised_to=2), kit(2, "2026-03-02T10:00", promised_to=2)]
    both = rows([need("2026-03-03T11:00", 2), need("2026-03-03T12:00", 3)], "2026-03-02T12:00", kits)
    assert [r.pull for r in both] == [1, None]
    assert wasted(both, kits, practice(), moment("2026-03-02T12:00")) == []


def test_wasted_kits_first_use_by_first():
    now = "2026-03-05T12:00"
    kits = [
        kit(1, "2026-03-04T09:00"),  # warm, serves
        kit(2, "2026-03-04T10:00"),  # nobody needs it
        kit(3, "2026-03-02T09:00"),  # its time is over
        kit(4, "2026-03-02T09:00", promised_to=99),  # that of a booking without a row, over
        kit(5, "2026-03-04T09:00", promised_to=99),  # in use
        kit(6, "2026-03-04T11:00", promised_to=8),  # its booking moved out of its reach
    ]
    both = rows([need("2026-03-05T14:00", 7), need("2026-03-20T09:00", 8)], now, kits, [stock()])
    left = wasted(both, kits, practice(), moment(now))
    assert [(u.kit.pull, u.over) for u in left] == [(3, True), (4, True), (2, False), (6, False)]
    assert left[2].use_by == moment("2026-03-07T10:00")
