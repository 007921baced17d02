"""Reorder levels and fill rates of textbooks, which take demand as normal: a normal distribution rounded to whole pieces
goes through the same functions that the order list uses.

Sources: Taylor, Introduction to Management Science, ch. 16 (carpet: found; pharmacy: from memory); Chopra & Meindl, Supply
Chain Management, ch. on safety inventory (from memory); Bozarth & Handfield, Operations and Supply Chain Management, ch. 11
(inputs found); Nahmias, Production and Operations Analysis, ex. 5.4 to 5.6 (from memory); Silver, Pyke & Peterson (1998),
sec. 7.7 (from memory). All values recomputed from the normal distribution.
"""

import math

import numpy as np
import pytest
import scipy.stats

from stockroom.core.counts import Pmf, chance_at_most, excess, fill_level, fill_rate, quantile

NOTHING = np.ones(1)
"""The demand until an order arrives, where a book counts shortages of one cycle only."""


def normal(mean: float, spread: float) -> Pmf:
    """Whole pieces, each with the chance of the piece's width around it."""
    edges = np.arange(math.ceil(mean + 9 * spread) + 1) + 0.5
    return np.diff(scipy.stats.norm.cdf(edges, mean, spread), prepend=0.0)


@pytest.mark.parametrize(
    ("mean", "spread", "target", "level"),
    [
        (30 * 10, 5 * math.sqrt(10), 0.95, 326),  # carpet: 326.01, in the book with z = 1.65 326.1
        (30 * 10, math.sqrt(10 * 5**2 + 30**2 * 3**2), 0.95, 450),  # its lead time varies by 3: 450.3, book 450.8
        (6 * 65, 1.2 * math.sqrt(65), 0.95, 398 + 8),  # pharmacy: order 398 with 8 on hand
        (2 * 2500, 500 * math.sqrt(2), 0.90, 5906),  # safety stock 906
        (91, 17, 0.90, 113),  # delicatessen: 112.79
        (91, 4, 0.90, 96),  # 96.13
        (100, 25, 0.98, 151),  # specialty shop, type 1 service
    ],
)
def test_levels_by_the_chance_of_no_shortage(mean: float, spread: float, target: float, level: int) -> None:
    assert quantile(normal(mean, spread), target) == level


@pytest.mark.parametrize(
    ("mean", "spread", "ordered", "target", "level"),
    [
        *(
            (5000, 500 * math.sqrt(2), 10_000, target, 5000 + safety)  # book: 67, 183, 321, 499, 767
            for target, safety in ((0.975, 67), (0.98, 183), (0.985, 322), (0.99, 500), (0.995, 768))
        ),
        (100, 25, 100, 0.98, 126),  # specialty shop, type 2 service
        (50, 11.4, 200, 0.99, 57),  # fraction of demand from the shelf: 56.6
    ],
)
def test_levels_by_the_part_of_demand_served(
    mean: float, spread: float, ordered: int, target: float, level: int
) -> None:
    demand = normal(mean, spread)
    assert abs(fill_level(demand, NOTHING, ordered, target) - level) <= 1
    assert fill_rate(demand, NOTHING, ordered, level + 1) >= target > fill_rate(demand, NOTHING, ordered, level - 2)


def test_the_chance_and_the_expected_shortage_at_a_given_level() -> None:
    # Chopra & Meindl: reorder at 6,000: chance .92, 25 short in a cycle, .9975 served
    demand = normal(5000, 500 * math.sqrt(2))
    assert chance_at_most(demand, 6000) == pytest.approx(0.9213504, abs=2e-4)
    assert excess(demand, 6000) == pytest.approx(25.12727, abs=0.01)
    assert fill_rate(demand, NOTHING, 10_000, 6000) == pytest.approx(0.9974873, abs=1e-6)
