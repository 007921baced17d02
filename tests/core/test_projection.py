"""How stock goes: by hand, and against single pieces in a list, one instant after another."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.projection import left_at_expiry, path

QUARTER = 4
"""The plain walk below counts in quarters of a piece, so that rates of whole quarters a second are exact in both."""


def by_pieces(lots, known, rates, last):
    """Every instant from 0 to ``last``: what is there less what is owed, after all that happens then; what expired when.

    One quarter after another in a list: what expires goes, what is booked and owed is served, then the second passes.
    """
    shelf = [(start, end, i) for i, (start, end, n) in enumerate(lots) for _ in range(QUARTER * n)]
    owed, rate, there, gone = 0, 0, [], {}
    for instant in range(last + 1):
        for piece in [p for p in shelf if p[1] is not None and p[1] <= instant]:
            shelf.remove(piece)
            gone[piece[2]] = (gone.get(piece[2], (0, 0))[0] + 1, instant)
        owed += QUARTER * sum(n for at, n in known if max(at, 0) == instant)
        owed = _serve(shelf, owed, instant)
        there.append((sum(p[0] <= instant for p in shelf) - owed) / QUARTER)
        rate = rates.get(instant, rate)
        owed = _serve(shelf, owed + int(QUARTER * rate), instant)
    return there, {i: (n / QUARTER, at) for i, (n, at) in gone.items()}


def _serve(shelf, owed, instant):
    for piece in sorted((p for p in shelf if p[0] <= instant), key=lambda p: (p[1] is None, p[1] or 0, p[0], p[2])):
        if not owed:
            break
        shelf.remove(piece)
        owed -= 1
    return owed


def test_by_hand():
    # derived: 3 pieces end at 40; 2 are asked for at 10, one per 10 s from 20 on: 1 left at 20, used by 30;
    # then the second lot serves 1 until 40 and 1 until 50, where 3 of 5 are left
    assert left_at_expiry([(0, 40, 3), (0, 50, 5)], 0, [(10, 2)], {20: 0.1}) == pytest.approx([0, 3])
    walk = path([(0, 40, 3), (0, 50, 5)], 0, [(10, 2)], {20: 0.1}, [40, 60])
    assert walk.at == (0, 10, 20, 40, 50, 60)
    # 8, less 2, less 2 by 40 and 1 by 50, where 3 expire; from then on one in ten seconds is owed
    assert walk.there == pytest.approx((8, 6, 6, 4, 0, -1))
    # the same with the first lot unknown: the one that expires goes first
    assert left_at_expiry([(0, None, 3), (0, 50, 5)], 0, [(10, 2)], {20: 0.1}) == pytest.approx([0, 0])
    # demand at the instant of expiry comes too late; past demand counts now
    assert left_at_expiry([(0, 40, 3)], 0, [(40, 2)], {}) == [3]
    assert left_at_expiry([(0, 40, 3)], 20, [(5, 2)], {}) == [1]
    # what nothing is there for waits for the next stock: 4 owed when 6 arrive at 30
    assert left_at_expiry([(0, 20, 1), (30, 60, 6)], 0, [(10, 5)], {}) == [0, 2]
    # already expired; nothing that expires; nothing at all
    assert left_at_expiry([(0, 5, 2), (0, 90, 1)], 10, [(10, 1)], {}) == [2, 0]
    assert left_at_expiry([(0, None, 2)], 0, [(10, 1)], {0: 1.0}) == [0]
    assert left_at_expiry([], 0, [(10, 1)], {}) == []


lots = st.lists(st.tuples(st.integers(0, 20), st.one_of(st.none(), st.integers(1, 40)), st.integers(0, 6)), max_size=5)
bookings = st.lists(st.tuples(st.integers(-3, 40), st.integers(1, 4)), max_size=8)
paces = st.dictionaries(st.integers(0, 30), st.integers(0, 3).map(lambda k: k / QUARTER), max_size=3)


@settings(max_examples=150, deadline=None)
@given(lots, bookings, paces)
def test_a_path_is_that_of_single_pieces(stocks, known, rates):
    # derived: the walk above
    there, gone = by_pieces(stocks, known, rates, 45)
    walk = path(stocks, 0, known, rates, [45])
    assert [there[at] for at in walk.at] == list(walk.there)
    assert list(walk.unused) == [gone.get(i, (0, 0))[0] for i in range(len(stocks))]
    assert left_at_expiry(stocks, 0, known, rates) == list(walk.unused)


@given(lots, st.lists(st.tuples(st.integers(0, 40), st.integers(1, 4)), max_size=4), st.floats(0, 2))
def test_more_demand_never_leaves_more(stocks, known, rate):
    left = left_at_expiry(stocks, 0, known, {0: rate})
    assert all(0 <= x <= n for x, (_, _, n) in zip(left, stocks, strict=True))
    assert sum(left_at_expiry(stocks, 0, known, {0: rate + 0.3})) <= sum(left) + 1e-9
