"""Counts that may be below zero: against plain sums, and laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stockroom.core.counts import compound, mean_of, poisson
from stockroom.core.net_counts import NOTHING, Net, above_zero, compounded, for_each, gain, of_chances, repeated, total
from stockroom.errors import Refused

chances = st.lists(st.floats(0.05, 1), min_size=1, max_size=4).map(lambda w: [x / sum(w) for x in w])
nets = st.tuples(st.integers(-4, 3), chances).map(lambda t: Net(t[0], np.array(t[1])))


def as_dict(net: Net) -> dict[int, float]:
    return {net.least + k: float(p) for k, p in enumerate(net.pmf)}


def same(net: Net, want: dict[int, float]) -> None:
    have = as_dict(net)
    for value in have.keys() | want.keys():
        assert have.get(value, 0.0) == pytest.approx(want.get(value, 0.0), abs=1e-10)


def summed(one: dict[int, float], two: dict[int, float]) -> dict[int, float]:
    found: dict[int, float] = {}
    for a, p in one.items():
        for b, q in two.items():
            found[a + b] = found.get(a + b, 0.0) + p * q
    return found


def test_a_difference_of_two_poisson_counts() -> None:
    # reference: scipy's Skellam distribution
    net = gain(poisson(2.5), poisson(1.2))
    for value in range(-8, 12):
        assert as_dict(net).get(value, 0.0) == pytest.approx(stats.skellam.pmf(value, 2.5, 1.2), abs=1e-11)
    assert net.mean == pytest.approx(1.3)


@settings(deadline=None)
@given(nets, nets)
def test_sums_of_independent_ones(one, two) -> None:
    same(total([one, two]), summed(as_dict(one), as_dict(two)))
    assert total([one, two]).mean == pytest.approx(one.mean + two.mean)
    assert total([]) is NOTHING


@settings(deadline=None)
@given(nets, st.integers(0, 6))
def test_repeated_is_adding_up(net, times) -> None:
    want = {0: 1.0}
    for _ in range(times):
        want = summed(want, as_dict(net))
    same(repeated(net, times), want)


@settings(deadline=None)
@given(nets, chances)
def test_pieces_for_each_by_adding_up(number, each) -> None:
    # derived: so many more procedures take as many draws; so many fewer free as many
    want: dict[int, float] = {}
    for n, p in as_dict(number).items():
        pieces = {0: 1.0}
        for _ in range(abs(n)):
            pieces = summed(pieces, dict(enumerate(each)) if n > 0 else {-k: q for k, q in enumerate(each)})
        for value, q in pieces.items():
            want[value] = want.get(value, 0.0) + p * q
    found = for_each(number, np.array(each))
    same(found, want)
    assert found.mean == pytest.approx(number.mean * mean_of(np.array(each)), abs=1e-9)


@settings(deadline=None)
@given(nets)
def test_below_zero_counts_as_zero(net) -> None:
    found = above_zero(net)
    assert found.sum() == pytest.approx(1)
    for value in range(8):
        want = sum(p for v, p in as_dict(net).items() if v <= value)
        assert found[: value + 1].sum() == pytest.approx(want)
    assert mean_of(found) >= net.mean - 1e-9


def test_a_fixed_number_for_each_is_the_compound() -> None:
    assert compounded(poisson(1.5), np.array([0, 0, 0, 1.0])).tolist() == compound(poisson(1.5), 3).tolist()
    assert for_each(gain(poisson(2)), np.ones(1)) is NOTHING
    with pytest.raises(Refused, match="a million"):
        compounded(poisson(9000), np.full(4000, 1 / 4000))


def test_values_with_their_chances() -> None:
    same(of_chances([(2, 0.5), (-1, 0.25), (2, 0.25)]), {-1: 0.25, 2: 0.75})
    with pytest.raises(ValueError, match="empty"):
        of_chances([])
