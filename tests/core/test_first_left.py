"""The first value left that is small enough, against a look at each; several stretches, strikes and restores."""

from bisect import bisect_right

from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.first_left import FirstLeft

steps = st.lists(
    st.tuples(st.sampled_from(["first", "first", "strike", "restore"]), st.integers(0, 119), st.integers(0, 50)),
    max_size=60,
)


@given(
    values=st.lists(st.integers(0, 50), min_size=1, max_size=120),
    cuts=st.sets(st.integers(0, 120), max_size=3),
    high=st.booleans(),
    steps=steps,
)
def test_it_finds_what_a_look_at_each_finds(values, cuts, high, steps):
    """Law. With ``high`` most values are too large, so that the search goes by the tree."""
    if high:
        values = [v if n % 29 == 0 else v + 50 for n, v in enumerate(values)]
    ends = sorted({min(c, len(values)) for c in cuts} | {len(values)})
    row, left = FirstLeft(values, ends), set(range(len(values)))
    for what, place, ceiling in steps:
        spot = place % len(values)
        if what == "first":
            end = ends[min(bisect_right(ends, spot), len(ends) - 1)]
            fitting = [n for n in range(spot, end) if n in left and values[n] <= ceiling]
            found = row.first(spot, end, ceiling)
            assert found == (fitting[0] if fitting else -1)
        elif what == "strike":
            row.strike(spot)
            left.discard(spot)
        else:
            row.restore(spot)
            left.add(spot)
        if place % 7 == 0:
            row = row.copy()
