"""Count distributions against scipy and against published and derived stock levels."""

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.counts import (
    MOST,
    TAIL,
    chance_at_most,
    compound,
    convolution,
    excess,
    fill_level,
    fill_rate,
    mean_of,
    mixture,
    negative_binomial,
    poisson,
    quantile,
    trimmed,
)
from stockroom.errors import Refused


@pytest.mark.parametrize("mean", [1e-9, 0.3, 1, 2.4, 17.5, 90, 750, 9000])
def test_poisson_equals_scipy(mean):
    pmf = poisson(mean)
    np.testing.assert_allclose(pmf, scipy.stats.poisson.pmf(np.arange(len(pmf)), mean), rtol=1e-9, atol=1e-15)
    assert scipy.stats.poisson.sf(len(pmf) - 1, mean) < TAIL


@pytest.mark.parametrize(
    ("mean", "variance"), [(0.1, 0.11), (0.6, 1.5), (2, 4), (4, 8), (3, 60), (40, 41), (300, 2000)]
)
def test_negative_binomial_equals_scipy(mean, variance):
    pmf = negative_binomial(mean, variance)
    oracle = scipy.stats.nbinom(mean * mean / (variance - mean), mean / variance)
    np.testing.assert_allclose(pmf, oracle.pmf(np.arange(len(pmf))), rtol=1e-8, atol=1e-15)
    assert oracle.sf(len(pmf) - 1) < 1.01 * TAIL


def test_without_overdispersion_it_is_poisson():
    # the limit of the family; beside it the two agree
    np.testing.assert_array_equal(negative_binomial(2, 2), poisson(2))
    np.testing.assert_array_equal(negative_binomial(2, 1.2), poisson(2))
    near = negative_binomial(2, 2 + 1e-13)
    np.testing.assert_allclose(near, poisson(2)[: len(near)], atol=1e-12)


def test_no_demand_is_zero_for_certain():
    assert poisson(0).tolist() == negative_binomial(0, 0).tolist() == convolution([]).tolist() == [1.0]
    assert quantile(poisson(0), 0.99) == 0


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_moments_that_cannot_be(bad):
    with pytest.raises(ValueError, match="a mean or variance"):
        poisson(bad)
    with pytest.raises(ValueError, match="a mean or variance"):
        negative_binomial(1, bad)


def test_demand_beyond_reason_is_refused_before_it_fills_the_memory():
    with pytest.raises(Refused, match="beyond a million"):
        poisson(1e9)
    with pytest.raises(Refused, match="beyond a million"):
        negative_binomial(1, 1e9)
    with pytest.raises(Refused, match="beyond a million"):
        compound(poisson(3), MOST)


def test_poisson_table_of_a_textbook():
    # published: Hopp & Spearman, Factory Physics 2.4.2, Poisson(10) lead-time demand (recomputed with scipy)
    pmf = poisson(10)
    table = [
        (4, 0.018917, 0.029253), (5, 0.037833, 0.067086), (6, 0.063055, 0.130141), (7, 0.090079, 0.220221),
        (8, 0.112599, 0.33282), (9, 0.12511, 0.45793), (10, 0.12511, 0.58304), (11, 0.113736, 0.696776),
        (12, 0.09478, 0.791556), (13, 0.072908, 0.864464), (14, 0.052077, 0.916542), (15, 0.034718, 0.95126),
        (16, 0.021699, 0.972958), (17, 0.012764, 0.985722),
    ]  # fmt: skip
    for k, chance, at_most in table:
        assert pmf[k] == pytest.approx(chance, abs=5e-7)
        assert chance_at_most(pmf, k) == pytest.approx(at_most, abs=5e-7)
    assert chance_at_most(pmf, 14) == pytest.approx(0.9165415270653372, abs=1e-12)
    assert chance_at_most(pmf, 15) == pytest.approx(0.9512595966960213, abs=1e-12)
    # what is cut off is below 1e-12, times at most some 30 pieces
    assert excess(pmf, 15) == pytest.approx(0.1034786797869458, abs=1e-10)
    assert 15 - 10 + excess(pmf, 15) == pytest.approx(5.103478679786946, abs=1e-10)


@pytest.mark.parametrize(
    ("mean", "target", "level", "achieved", "one_less", "short", "on_hand"),
    [
        (0.5, 0.95, 2, 0.9856123220330293, 0.9097959895689501, 0.0019389713146129584, 2.5019389713146127),
        (4.5, 0.9, 7, 0.913413528352644, 0.8310505787254115, 0.06758062255680031, 3.5675806225568003),
        (10, 0.95, 15, 0.9512595966960213, 0.9165415270653372, 0.05473827648296847, 6.0547382764829685),
    ],
)
def test_poisson_base_stock(mean, target, level, achieved, one_less, short, on_hand):
    # derived with scipy; formulas: Axsater, Inventory Control ch. 5: P(D <= S), and E(D - S - 1)+ one above
    pmf = poisson(mean)
    assert quantile(pmf, target) == level
    assert chance_at_most(pmf, level) == pytest.approx(achieved, abs=1e-11)
    assert chance_at_most(pmf, level - 1) == pytest.approx(one_less, abs=1e-11)
    assert excess(pmf, level + 1) == pytest.approx(short, abs=1e-10)
    assert level + 1 - mean + excess(pmf, level + 1) == pytest.approx(on_hand, abs=1e-10)


@pytest.mark.parametrize(
    ("mean", "holding", "shortage", "level", "cost"),
    [
        (6, 1, 4, 8, 3.5701069457709376),
        (50, 0.18, 0.7, 56, 1.7972352118091772),
        (90, 0.08, 1.25, 105, 1.5450188691551778),
    ],
)
def test_newsvendor_is_the_quantile_at_the_critical_ratio(mean, holding, shortage, level, cost):
    # published: Snyder & Shen, Fundamentals of Supply Chain Theory 2e, ex. 4.7; an example; problem 4.19
    # (18 a period, lead time 4: 5 periods); recomputed with a reference library
    pmf = poisson(mean)
    assert quantile(pmf, shortage / (shortage + holding)) == level
    short = excess(pmf, level)
    assert holding * (level - mean + short) + shortage * short == pytest.approx(cost, abs=1e-9)


def test_poisson_loss():
    # published: Snyder & Shen 2e, Poisson loss at 18 with mean 15; recomputed with a reference library
    assert excess(poisson(15), 18) == pytest.approx(0.5176095282584722, abs=1e-10)
    assert excess(poisson(15), 18) + 18 - 15 == pytest.approx(3.517609528258472, abs=1e-10)
    assert excess(poisson(15), -2) == pytest.approx(17, abs=1e-9)


POISSON_CASES = [
    # weekly mean, review, lead, target; by cycle: level, chance, at one less;
    # by fill: level, rate, at one less; the fill rate at the level by cycle
    (2, 1, 1, 0.95, 8, 0.9786365655120158, 0.9488663842071527,
     7, 0.958314987608562, 0.9052449011703998, 0.9833334360210563),
    (0.6, 2, 1, 0.98, 5, 0.9896219631338404, 0.9635933389989165,
     5, 0.9886671714575794, 0.9586570256386268, 0.9886671714575794),
    (3.5, 1, 1.4, 0.9, 12, 0.9150006768450066, 0.8570657022748486,
     11, 0.9096057061507202, 0.8485406463867157, 0.9491078012512144),
]  # fmt: skip


@pytest.mark.parametrize("case", POISSON_CASES)
def test_order_up_to_with_periodic_review(case):
    # derived, scipy: P(D_{R+L} <= S), and the fill rate of Silver, Pyke & Thomas / Hadley & Whitin
    week, review, lead, target, by_cycle, chance, chance_less, by_fill, rate, rate_less, rate_at_cycle = case
    protection, during_lead = poisson(week * (review + lead)), poisson(week * lead)
    assert quantile(protection, target) == by_cycle
    assert chance_at_most(protection, by_cycle) == pytest.approx(chance, abs=1e-11)
    assert chance_at_most(protection, by_cycle - 1) == pytest.approx(chance_less, abs=1e-11)
    assert fill_level(protection, during_lead, week * review, target) == by_fill
    for level, expected in ((by_fill, rate), (by_fill - 1, rate_less), (by_cycle, rate_at_cycle)):
        assert fill_rate(protection, during_lead, week * review, level) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    (
        "week",
        "variance",
        "review",
        "lead",
        "target",
        "by_cycle",
        "chance",
        "by_fill",
        "rate",
        "rate_less",
        "if_poisson",
    ),
    [
        (2, 4, 1, 1, 0.95, 9, 0.953857421875, 10, 0.96728515625, 0.9471435546875, 8),
        (0.6, 1.5, 2, 1, 0.98, 8, 0.9852416920724403, 9, 0.9829329462906214, 0.972236733923546, 5),
    ],
)
def test_order_up_to_with_overdispersed_weeks(
    week, variance, review, lead, target, by_cycle, chance, by_fill, rate, rate_less, if_poisson
):
    # derived, scipy: as above with negative binomial weeks; Poisson would say too little
    span = review + lead
    protection, during_lead = (
        negative_binomial(week * span, variance * span),
        negative_binomial(week * lead, variance * lead),
    )
    assert quantile(protection, target) == by_cycle
    assert chance_at_most(protection, by_cycle) == pytest.approx(chance, abs=1e-11)
    assert fill_level(protection, during_lead, week * review, target) == by_fill
    assert fill_rate(protection, during_lead, week * review, by_fill) == pytest.approx(rate, abs=1e-9)
    assert fill_rate(protection, during_lead, week * review, by_fill - 1) == pytest.approx(rate_less, abs=1e-9)
    assert quantile(poisson(week * span), target) == if_poisson


@pytest.mark.parametrize(
    ("week", "leads", "target", "level", "chance", "one_less"),
    [
        (2, {1: 0.7, 2: 0.2, 3: 0.1}, 0.95, 10, 0.9710765582549874, 0.9491850525158722),
        (5, {1: 0.9, 4: 0.1}, 0.95, 25, 0.9552762297572658, 0.9472975924123509),
    ],
)
def test_lead_times_that_vary_are_a_mixture(week, leads, target, level, chance, one_less):
    # derived, scipy: exact Poisson mixture over the lead times; the normal formula gives 9.01 and 20.77
    pmf = mixture(list(leads.values()), [poisson(week * (1 + lead)) for lead in leads])
    assert quantile(pmf, target) == level
    assert chance_at_most(pmf, level) == pytest.approx(chance, abs=1e-11)
    assert chance_at_most(pmf, level - 1) == pytest.approx(one_less, abs=1e-11)


def test_a_target_that_is_met_exactly_costs_no_piece():
    # derived: ten chances of a tenth sum to 0.8999999999999999 at 8, which is 0.9
    pmf = np.full(10, 0.1)
    assert float(np.cumsum(pmf)[8]) < 0.9
    assert quantile(pmf, 0.9) == 8
    assert quantile(pmf, 0.9 + 1e-9) == 9
    # two for certain in the review, none before: a stock of one serves half
    assert fill_level(np.array([0.0, 0.0, 1.0]), np.ones(1), 2, 0.5) == 1


@pytest.mark.parametrize("target", [0, 1, -0.1, 1.5, math.nan])
def test_targets_that_are_none(target):
    with pytest.raises(ValueError, match="not between 0 and 1"):
        quantile(poisson(1), target)
    with pytest.raises(ValueError, match="not between 0 and 1"):
        fill_level(poisson(2), poisson(1), 1, target)


def test_weights_that_are_no_chances():
    for weights in ([0.5, 0.6], [1.5, -0.5], [1.0]):
        with pytest.raises(ValueError, match="weights"):
            mixture(weights, [poisson(1), poisson(2)])


def test_compound_by_hand():
    # derived: two kits a procedure: 0, 2, 4 kits
    assert compound(np.array([0.5, 0.3, 0.2]), 2).tolist() == [0.5, 0, 0.3, 0, 0.2]
    assert compound(poisson(3), 0).tolist() == [1.0]
    with pytest.raises(ValueError, match="-1 pieces"):
        compound(poisson(3), -1)


means = st.floats(0.01, 12)


@settings(deadline=None, max_examples=60)
@given(means, means)
def test_poissons_add_up(a, b):
    # published: the sum of independent Poisson counts is Poisson
    both, direct = convolution([poisson(a), poisson(b)]), poisson(a + b)
    n = min(len(both), len(direct))
    np.testing.assert_allclose(both[:n], direct[:n], atol=3 * TAIL)
    assert abs(both.sum() - 1) < 1e-11


@settings(deadline=None, max_examples=60)
@given(means, st.floats(1, 6), st.floats(0.01, 0.999))
def test_quantile_is_the_smallest_and_equals_scipy(mean, spread, target):
    for pmf, oracle in (
        (poisson(mean), scipy.stats.poisson(mean)),
        (
            negative_binomial(mean, mean * spread),
            scipy.stats.nbinom(mean / (spread - 1), 1 / spread) if spread > 1.0001 else None,
        ),
    ):
        u = quantile(pmf, target)
        assert chance_at_most(pmf, u) >= target - 2 * TAIL
        assert u == 0 or chance_at_most(pmf, u - 1) < target
        if oracle is not None and abs(oracle.cdf(u - 1) - target) > 1e-9:
            assert u == int(oracle.ppf(target))


@settings(deadline=None, max_examples=60)
@given(means, st.floats(1, 4), st.floats(0.1, 3), st.floats(0.1, 3), st.floats(0.5, 0.99))
def test_the_fill_level_is_the_smallest(week, spread, review, lead, target):
    pmfs = [negative_binomial(week * t, week * t * spread) for t in (review + lead, lead)]
    level = fill_level(*pmfs, week * review, target)
    rates = [fill_rate(*pmfs, week * review, s) for s in range(level + 3)]
    assert rates[level] >= target - 1e-9
    assert all(rate < target for rate in rates[:level])
    assert rates == sorted(rates) or np.all(np.diff(rates) > -1e-9)


@given(st.lists(st.floats(0.001, 1), min_size=1, max_size=8), st.integers(-3, 9))
def test_excess_by_its_definition(weights, level):
    pmf = np.array(weights) / sum(weights)
    assert excess(pmf, level) == pytest.approx(sum(p * max(0, k - level) for k, p in enumerate(pmf)))
    assert mean_of(pmf) == pytest.approx(sum(k * p for k, p in enumerate(pmf)))
    assert len(trimmed(np.concatenate((pmf, [1e-14, 1e-14])))) == len(pmf)
