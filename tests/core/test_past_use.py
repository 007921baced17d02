"""Past weeks drawn again as the weeks ahead. Expectations are derived: worked out by hand or by counting, beside each check."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.past_use import (
    Ahead,
    PastUse,
    demand_of,
    drawn_weeks,
    expected_use,
    known_of,
    past_use,
)


def ahead(weekday: int, days: int, booked: dict[int, int] | None = None, closed: tuple[int, ...] = ()) -> Ahead:
    staffed = np.array([n != 0 and n not in closed for n in range(days)])
    there = np.zeros(days, np.int32)
    for day, pieces in (booked or {}).items():
        there[day] = pieces
    return Ahead(weekday, staffed, there)


# Two weeks. In the first, on Tuesday: 1 booked nine days before, 2 not booked; on Friday: 3 booked a day before.
# In the second, on Tuesday: 1 booked that day.
USED = [(1, 1, 9), (1, 2, None), (4, 3, 1), (8, 1, 0)]


def test_what_is_on_record_becomes_weeks() -> None:
    past = past_use(2, USED)
    assert past.pieces.tolist() == [[0, 3, 0, 0, 3, 0, 0], [0, 1, 0, 0, 0, 0, 0]]
    assert past.ahead[0, 1].tolist() == [1] * 10 + [0]
    assert past.ahead[0, 4, :3].tolist() == [3, 3, 0]
    assert past.ahead[1, 1, :2].tolist() == [1, 0]


def test_a_days_demand_is_what_is_booked_and_what_is_drawn_beyond_it() -> None:
    past = past_use(2, USED)
    # Today is a Monday; for tomorrow 2 are booked. Tuesday is one day ahead: of the drawn one the pieces booked two days
    # before or earlier are not drawn again, for what was booked by this morning stands as it is: 2 + 3 - 1, 2 + 1 - 0.
    days = ahead(0, 7, {1: 2})
    weeks = np.array([[0, 1]], np.int32)
    assert demand_of(past, days, weeks)[1].tolist() == [4, 3]
    # Friday is four days ahead, its pieces were booked one day before: all are drawn
    assert demand_of(past, days, weeks)[4].tolist() == [3, 0]
    # on closed days nothing is drawn, and what is booked stands
    assert demand_of(past, ahead(0, 7, {4: 1}, closed=(1, 4)), weeks).sum(axis=0).tolist() == [1, 1]


def test_what_is_known_grows_as_the_day_comes_near() -> None:
    past = past_use(2, USED)
    weeks = np.array([[0], [0]], np.int32)
    days = ahead(0, 14, {1: 2, 8: 5})
    # from today on: the 2 of tomorrow
    assert known_of(past, days, weeks, 0, 7).tolist() == [2]
    # in a week: the 5 of Tuesday (the drawn piece, booked nine days before, is the eighth day's, booked by today: not
    # drawn); Friday's three are booked on Thursday
    assert known_of(past, days, weeks, 7, 14).tolist() == [5]
    # on that Friday morning what was booked on Thursday is known
    assert known_of(past, days, weeks, 11, 14).tolist() == [3]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 9), st.integers(0, 6), st.integers(0, 12), st.integers(1, 12))
def test_what_is_known_is_part_of_the_demand(seed: int, weeks: int, weekday: int, decided: int, span: int) -> None:
    """For every past week with which the time ahead may begin: what is known in the morning is not less than what is booked
    today and not more than the demand.
    """
    chance = np.random.default_rng(seed)
    used = [
        (int(chance.integers(weeks * 7)), int(chance.integers(1, 4)), int(a) if (a := chance.integers(-1, 12)) >= 0 else None)
        for _ in range(chance.integers(1, 30))
    ]  # fmt: skip
    past = past_use(weeks, used)
    length = decided + span + 1
    booked = {int(d): 1 for d in chance.integers(0, length, 3)}
    days = ahead(weekday, length, booked, closed=tuple(int(d) for d in chance.integers(1, length + 1, 2)))
    wanted = -(-(weekday + length) // 7)
    starts = (np.arange(weeks)[None, :] + np.arange(wanted)[:, None]) % weeks
    drawn = starts.astype(np.int32)
    demand = demand_of(past, days, drawn)[decided : decided + span].sum(axis=0)
    known = known_of(past, days, drawn, decided, decided + span)
    assert (known <= demand).all() and (known >= days.booked[decided : decided + span].sum()).all()
    # counted piece by piece: a drawn one is known if it is not booked today yet and will be by that morning
    for n, first in enumerate(drawn[0].tolist()):
        want = int(days.booked[decided : decided + span].sum())
        for day in range(decided, decided + span):
            week, of_week = divmod(weekday + day, 7)
            if days.staffed[day]:
                there = 7 * ((first + week) % weeks) + of_week
                want += sum(k for d, k, a in used if d == there and a is not None and day - decided < a <= day)
        assert known[n] == want
    everywhere = np.tile(np.arange(weeks, dtype=np.int32), (wanted, 1))
    assert expected_use(past, days) == pytest.approx(demand_of(past, days, everywhere).mean(axis=1))


def test_every_week_is_drawn_as_often_and_neighbours_stay_together() -> None:
    past = PastUse(np.ones((27, 7), np.int32), np.zeros((27, 7, 2), np.int32))
    # the cube root of 27
    assert past.block == 3
    starts = np.tile(np.arange(27), (4, 1))
    weeks = drawn_weeks(starts, past, 10)
    assert weeks.shape == (10, 27)
    # with every beginning taken once each place holds every week once, wrapped around at the end
    assert all(sorted(row) == list(range(27)) for row in weeks.tolist())
    assert ((weeks[1] - weeks[0]) % 27 == 1).all() and ((weeks[2] - weeks[1]) % 27 == 1).all()
