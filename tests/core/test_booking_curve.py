"""The booking curve and additive pick-up: the published triangle, the definition by plain loops, and what it may not see."""

import numpy as np
import pytest
from curve_cases import DAY, NEVER, books, counted, first_block, grid, of_triangle, plain_pickup, stretches
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.booking_curve import OnTheBooks, curve, pickup
from stockroom.core.forecasts import KNOWN, MEAN_10, PICKUP, PICKUP_10, Forecasts

TRIANGLE = [[1, 2, 4, 5], [0, 1, 3, 3], [2, 3, 4, 6], [1, 1, 2, 4], [0, 2, 3], [1, 2], [1]]


def test_the_published_triangle() -> None:
    # published: Wickham (1995), Weatherford & Kimes (2003); worked by hand: 4.25, 4.65, 4.65; mean increments 1, 1.4, 1.25
    found, g = of_triangle(TRIANGLE)
    c = curve(found, g)
    still = pickup(c, 3).mean[g.past].sum(axis=1)
    assert c.known(3)[g.past].tolist() == [3, 2, 1]
    assert still == pytest.approx([1.25, 1.25 + 1.4, 1.25 + 1.4 + 1])
    assert c.known(3)[g.past] + still == pytest.approx([4.25, 4.65, 4.65])
    assert pickup(c, 3).rows[g.past].tolist() == [4, 4, 4]
    # the classical pick-ups of complete weeks: derived from the same rows
    assert c.pickups(g.past, 0).tolist() == [1, 0, 2, 2]
    assert c.pickups(g.past, 2).tolist() == [4, 3, 4, 3]
    assert c.pickups(g.past, 2, weeks=2).tolist() == [4, 3]


def test_what_was_on_the_books_when() -> None:
    # derived: made at 10, moved at 20 from 100 to 200, cancelled at 30
    found = books([(10, 20, 100), (20, 30, 200)])
    assert [found.between(0, 150, at) for at in (9, 10, 19, 20)] == [0, 1, 1, 0]
    assert [found.between(150, 201, at) for at in (19, 20, 29, 30)] == [0, 1, 1, 0]
    # the end does not belong to a time
    assert (found.between(0, 100, 15), found.between(100, 101, 15)) == (0, 1)


def test_a_booking_counts_in_the_week_in_which_it_begins() -> None:
    week = 7 * DAY
    c = curve(
        books([(0, NEVER, week - 1), (0, NEVER, week), (week, NEVER, week + 1), (week + 1, NEVER, week + 2)]),
        grid(2, 2),
    )
    assert c.totals(2).tolist() == [1, 3, 0, 0]
    assert c.totals(1).tolist() == [1, 2, 0, 0]  # made at the boundary: on the books; a second later: not
    assert c.known(2).tolist() == [[1, 1], [2, 0], [0, 0]]
    assert c.weeks_made().tolist() == [0, 1, 2]


@settings(max_examples=120, deadline=None)
@given(stretches, st.sampled_from([None, 2, 10]), st.one_of(st.none(), st.integers(0, 60)))
def test_pick_up_equals_its_definition_at_every_boundary(rows, weeks, kept) -> None:
    found, g = books(rows, None if kept is None else kept * DAY), grid(8, 4)
    c = curve(found, g)
    said = pickup(c, 3, weeks)
    for boundary in range(g.past + 1):
        want = plain_pickup(found, g, boundary, 3, weeks)
        assert said.mean[boundary].sum(axis=1) == pytest.approx(want, abs=1e-9)
        assert c.known(3)[boundary].tolist() == [counted(found, g, boundary + h, boundary) for h in range(3)]
        assert c.first[boundary] == first_block(found, g, boundary)


@settings(max_examples=80, deadline=None)
@given(stretches, stretches, st.integers(1, 7))
def test_nothing_later_changes_what_was_said_before(rows, later, boundary) -> None:
    # a law: bookings made, and cancelled, after a boundary change no forecast as of it
    edge = 7 * DAY * boundary
    past = [(since, until, start) for since, until, start in rows if since <= edge]
    then = [(since, until if until <= edge else NEVER, start) for since, until, start in past]
    future = [(since + edge + 6, max(until, since + edge + 7), start) for since, until, start in later]
    g = grid(8, 4)
    one, two = (Forecasts(curve(books(x), g), 3, np.full(9, 1.5)) for x in (then, past + future))
    for name in (PICKUP, PICKUP_10, MEAN_10, KNOWN, "expected_per_week"):
        assert one.still(name)[boundary].tolist() == two.still(name)[boundary].tolist()
    for h in range(3):
        assert one.curve.pickups(boundary, h).tolist() == two.curve.pickups(boundary, h).tolist()
    assert one.known[boundary].tolist() == two.known[boundary].tolist()


def test_a_closed_day_teaches_nothing_and_takes_nothing() -> None:
    # derived: two come on each Monday and one on each Friday, in the week itself; nobody was in on the second Friday, and
    # nobody is on the Monday to come: (2 + 2 + 2) / 3 x 0 + (1 + 1) / 2 x 1
    week = 7 * DAY
    rows = [(week * n + 60, NEVER, week * n + 90) for n in range(3) for _ in range(2)]
    rows += [(week * n + 60, NEVER, week * n + 4 * DAY + 90) for n in (0, 2)]
    share = np.ones((5, 7))
    share[1, 4] = share[3, 0] = 0
    said = pickup(curve(books(rows), grid(3, 2, share)), 1)
    assert said.mean[3, 0].tolist() == [0, 0, 0, 0, 1, 0, 0]
    # half a day of the same: (2 + 2 + 2) / 3 / 2
    share[3, 0] = 0.5
    assert pickup(curve(books(rows), grid(3, 2, share)), 1).mean[3, 0, 0] == 1
    # a Monday of half the hours on which one came counts for half: 5 / 2.5
    share[:] = 1
    share[0, 0] = 0.5
    assert pickup(curve(books(rows[1:]), grid(3, 2, share)), 1).mean[3, 0, 0] == pytest.approx(2)


def test_a_day_that_nobody_ever_worked_takes_the_mean_of_the_others() -> None:
    # derived: one on each of six days; on Saturdays nobody was in, from now on somebody is
    week = 7 * DAY
    rows = [(week * n + 60, NEVER, week * n + d * DAY + 90) for n in range(3) for d in range(7) if d != 5]
    share = np.ones((5, 7))
    share[:3, 5] = 0
    assert pickup(curve(books(rows), grid(3, 2, share)), 1).mean[3, 0].tolist() == [1] * 7


def test_the_weeks_before_a_record_was_kept_teach_nothing() -> None:
    # derived: six taken over at the beginning of week 2, for the weeks from then on; then one comes in each week
    week = 7 * DAY
    rows = [(2 * week, NEVER, week * n + 90) for n in range(2, 8)]
    rows += [(week * n + 60, NEVER, week * n + DAY) for n in range(2, 6)]
    plain, kept = (pickup(curve(books(rows, since), grid(6, 3)), 2) for since in (None, 2 * week))
    assert kept.mean[6].sum(axis=1).tolist() == [1, 1]
    assert kept.rows[6].tolist() == [4, 4]
    # without that the take-over looks like a rush of bookings a week ahead
    assert plain.mean[6].sum(axis=1)[1] > 1


def test_a_procedure_without_bookings() -> None:
    c = curve(OnTheBooks(*(np.zeros(0, np.int64) for _ in range(3))), grid(3, 2))
    assert pickup(c, 2).mean.max() == 0 and pickup(c, 2).rows.max() == 0
    assert c.weeks_made().tolist() == [0, 0, 0, 0]
    assert Forecasts(c, 2, np.ones(4)).begun == 4


def test_a_start_that_is_a_slip_begins_no_record() -> None:
    # derived: one a week from week 6 on, and one with a start in week 0, made in week 8: four weeks, not ten
    week = 7 * DAY
    rows = [(week * n + 60, NEVER, week * n + DAY) for n in range(6, 10)] + [(8 * week + 60, NEVER, 5)]
    c = curve(books(rows), grid(10, 2))
    assert (c.first[10], pickup(c, 1).rows[10].tolist()) == (6, [4])
    assert pickup(c, 1).mean[10].sum() == 1
