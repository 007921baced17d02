"""Levels for many runs at once against those for one. Derived: core/protection.py, which has cases of its own."""

import random

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from stockroom.core.counts import convolution, negative_binomial, poisson
from stockroom.core.kept_levels import kept
from stockroom.core.protection import Way, protection

DAY = 86_400


@settings(max_examples=120, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from(["cycle", "fill"]))
def test_each_run_has_the_level_that_it_would_have_alone(seed: int, kind: str) -> None:
    c = random.Random(seed)
    number, runs = c.randint(1, 5), 12
    weights = [c.random() + 0.01 for _ in range(number)]
    ways = []
    for n in range(number):
        lead = poisson(c.uniform(0, 6)) if c.random() < 0.5 else negative_binomial(c.uniform(0, 6), 9)
        span = convolution([lead, poisson(c.choice([0, 0, c.uniform(0, 5)]))])
        ways.append(Way(weights[n] / sum(weights), (n + 1) * DAY, span, lead if kind == "fill" else None))
    usual = c.randrange(number)
    # bookings within each way's last day, another set of them in every run
    known = [[(n * DAY + 1, c.choice([0, 0, 1, 2, 9])) for n in range(number)] for _ in range(runs)]
    until = np.array([[sum(k for at, k in run if at < way.covers_until) for run in known] for way in ways], np.int32)
    found = kept(ways, kind)
    for target in (0.5, 0.8, 0.95, 0.99, 0.9999):
        alone = [protection(run, ways[usual].covers_until, ways).level(kind, target) for run in known]
        assert found.levels(until - until[usual], target).tolist() == alone


def test_lead_times_with_two_peaks() -> None:
    # derived: the mixture of Poisson 4, 6 and 8 at .7, .2 and .1 is .9492 at 9 and .9711 at 10. With two pieces booked in
    # the last way only it is .9487 at 10 and .9670 at 11 (scipy)
    ways = [Way(chance, n, poisson(mean)) for n, (chance, mean) in enumerate(((0.7, 4), (0.2, 6), (0.1, 8)))]
    booked = np.array([[0, 0], [0, 0], [0, 2]], np.int32)

    def enough(level: int, moved: int) -> float:
        return float(
            0.7 * stats.poisson.cdf(level, 4)
            + 0.2 * stats.poisson.cdf(level, 6)
            + 0.1 * stats.poisson.cdf(level - moved, 8)
        )

    assert enough(10, 2) < 0.95 <= enough(11, 2) and enough(9, 0) < 0.95 <= enough(10, 0)
    assert kept(ways, "cycle").levels(booked, 0.95).tolist() == [10, 11]


def test_no_demand_needs_nothing() -> None:
    none = np.zeros((1, 3), np.int32)
    for kind in ("cycle", "fill"):
        assert kept([Way(1.0, 0, poisson(0), poisson(0))], kind).levels(none, 0.99).tolist() == [0, 0, 0]
