"""The path of a product's stock: worked by hand, and against what expires by another computation.

Days are counted from 0; what is still to be booked is spread evenly until covers_until.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.counts import negative_binomial, poisson, quantile
from stockroom.core.orders import OrderInput, expected_rates
from stockroom.core.practice import Product
from stockroom.core.projection import left_at_expiry
from stockroom.core.stock_path import LONG, Arrival, bad_case, stock_path, thinned, unbooked_bad_case

DAY = 86_400
SWAB = Product("SWAB", "Swab", "supply", "x", shelf_life_days=20)


def site(lots=(), known=(), mean=0.0, rate=0.0, until=14):
    return OrderInput(
        product=SWAB, now=0, arrives_at=4 * DAY, covers_until=until * DAY, known=tuple((int(d * DAY), n) for d, n in known),
        unbooked=poisson(mean), daily_rate=rate, target=0.95,
        lots=tuple((None if d is None else int(d * DAY), n) for d, n in lots),
    )  # fmt: skip


def test_bookings_arrivals_and_expiries_by_hand() -> None:
    # 5 there, 2 of them until day 3; one used on day 1 and three on day 5; six come on day 4
    path = stock_path(
        site([(3, 2), (None, 3)], [(-1, 0), (1, 1), (5, 3)]), [Arrival(4 * DAY, 6, "O-1")], range(0, 9 * DAY, DAY)
    )
    values = dict(zip((t / DAY for t in path.at), path.expected, strict=True))
    assert [values[d] for d in range(9)] == [5, 4, 4, 3, 9, 6, 6, 6, 6]
    # nothing is still to be booked: the bad case is the same
    assert path.bad == path.expected
    assert path.expiries == ((3 * DAY, 1.0),)
    assert [a.label for a in path.arrivals] == ["O-1"]


def test_what_is_short_is_below_zero_until_something_comes() -> None:
    path = stock_path(site([(None, 1)], [(2, 3)]), [Arrival(4 * DAY, 6, "this order")], range(0, 6 * DAY, DAY))
    assert [path.expected[path.at.index(d * DAY)] for d in range(6)] == [1, 1, -2, -2, 4, 4]


def test_the_bad_case_ends_at_the_quantile_that_the_order_is_made_for() -> None:
    x = site([(None, 10)], [(5, 2)], mean=2.4)
    path = stock_path(x, [], range(0, 15 * DAY, DAY))
    last = path.at.index(14 * DAY)
    # derived: Poisson 2.4 reaches .95 at 5; expected 2.4
    assert (path.bad[last], path.expected[last]) == (10 - 2 - 5, pytest.approx(10 - 2 - 2.4))
    assert all(b <= e + 1e-9 for e, b in zip(path.expected[:last], path.bad, strict=False))
    # the week after follows the rate in both
    later = stock_path(site([(None, 10)], [(5, 2)], mean=2.4, rate=0.5), [], range(0, 17 * DAY, DAY))
    a, b = later.at.index(14 * DAY), later.at.index(16 * DAY)
    assert later.bad[a] - later.bad[b] == pytest.approx(1) == later.expected[a] - later.expected[b]


def test_a_thinned_distribution_is_one_of_its_kind() -> None:
    # published: thinning of a Poisson process; a thinned negative binomial keeps its r: mean s m, variance s m + s^2 (v - m)
    for share in (0.0, 0.3, 1.0):
        for one, other in (
            (thinned(poisson(6.0), share), poisson(6.0 * share)),
            (
                thinned(negative_binomial(6.0, 9.0), share),
                negative_binomial(6.0 * share, 6.0 * share + 3.0 * share * share),
            ),
        ):
            size = max(len(one), len(other))
            assert np.allclose(np.pad(one, (0, size - len(one))), np.pad(other, (0, size - len(other))), atol=1e-10)


def test_a_long_distribution_is_scaled_to_the_same_end() -> None:
    big = OrderInput(
        product=SWAB, now=0, arrives_at=DAY, covers_until=10 * DAY, known=((DAY, 5),), unbooked=poisson(2000.0)
    )
    assert len(big.unbooked) > LONG
    assert unbooked_bad_case(big, 10 * DAY) == quantile(big.unbooked, 0.95)
    # derived: a tenth of the time is Poisson 200, .95 at 224 (within one of what the scaling says)
    assert abs(unbooked_bad_case(big, DAY) - quantile(poisson(200.0), 0.95)) <= 1
    assert bad_case(big, 2 * DAY) == 5 + unbooked_bad_case(big, 2 * DAY)


days = st.integers(1, 20)


@given(
    st.lists(st.tuples(days | st.none(), st.integers(1, 6)), max_size=4),
    st.lists(st.tuples(st.integers(-1, 20), st.integers(1, 3)), max_size=5),
    st.sampled_from([0.0, 1.3, 6.0]),
    st.sampled_from([0.0, 0.4]),
    st.lists(st.tuples(days, st.integers(1, 8)), max_size=2),
)
def test_what_expires_is_what_the_order_line_says(lots, known, mean, rate, coming) -> None:
    x = site(lots, known, mean, rate)
    arrivals = [Arrival(d * DAY, n, "O-1") for d, n in coming]
    path = stock_path(x, arrivals, range(0, 61 * DAY, DAY))
    stocks = [(0, end, n) for end, n in x.lots] + [(a.at, a.at + 20 * DAY, a.pieces) for a in arrivals]
    lost = left_at_expiry(stocks, 0, x.known, expected_rates(x))
    assert sum(n for _, n in path.expiries) == pytest.approx(sum(lost), abs=1e-4)
    # nothing else leaves or comes: all that was there, less what was used and what expired
    used = sum(n for _, n in known) + mean * 1.0
    if rate == 0:
        total = sum(n for _, n in lots) + sum(n for _, n in coming)
        assert path.expected[-1] == pytest.approx(total - used - sum(lost), abs=1e-4)
