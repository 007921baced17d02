"""From what is needed to packs: price breaks, room, and shelf life at a chance."""

import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.counts import certain, poisson
from stockroom.core.orders import DAY, OrderInput, order_line, used_in_time
from stockroom.core.practice import PriceBreak, Product
from stockroom.core.quantity import decided

PACKED = Product("CK", "kit", "kit", "Any", pack_size=4, pack_price=Decimal(212))
TEN = replace(PACKED, price_breaks=(PriceBreak(10, Decimal(180)),))


def all_used(pieces):
    return pieces


@pytest.mark.parametrize(
    ("need", "packs"),
    [
        # derived: ten packs cost 1,800; nine 1,908, so ten; eight 1,696, so eight
        (36, 10),
        (33, 10),
        (32, 8),
        (37, 10),
        (40, 10),
        (41, 11),
    ],
)
def test_a_price_break_is_taken_where_the_whole_costs_no_more(need, packs):
    made = decided(need, TEN, None, all_used)
    assert made.packs == packs
    if need <= 36 and packs == 10:
        assert made.words.endswith("10 packs cost 1800.00, 9 would cost 1908.00: 40")
    assert made.limited == (("pack",) if need % 4 else ())


def test_of_price_breaks_the_cheapest_whole_order_and_of_equals_the_larger():
    # derived: 9 cost 1,908; 10 cost 1,800; 12 cost 1,800 too; 20 cost 2,000
    three = replace(PACKED, price_breaks=tuple(PriceBreak(n, Decimal(p)) for n, p in ((10, 180), (12, 150), (20, 100))))
    assert decided(36, three, None, all_used).packs == 12
    # at 19 packs of 150 (2,850) twenty cost 2,000
    assert decided(76, three, None, all_used).packs == 20
    # equal is no more: 9 at 200 and 10 at 180
    equal = replace(TEN, pack_price=Decimal(200))
    assert decided(36, equal, None, all_used).packs == 10
    assert decided(36, replace(TEN, pack_price=Decimal("199.99")), None, all_used).packs == 9


def test_a_price_break_that_does_not_fit_or_spoils_is_left():
    # derived: 39 spaces are 9 packs; of 40 pieces one too many would expire
    assert decided(36, TEN, 39, all_used).packs == 9
    assert decided(36, TEN, 40, all_used).packs == 10
    assert decided(36, TEN, None, lambda n: min(n, 39)).packs == 9
    # what was cut already is not raised again
    cut = decided(36, TEN, 35, all_used)
    assert (cut.packs, cut.limited) == (8, ("space",))
    spoilt = decided(36, TEN, None, lambda n: min(n, 35), 0.9)
    assert (spoilt.packs, spoilt.limited) == (8, ("shelf_life",))
    assert "only 35 of 36 are used before they expire at a chance of 90 %: 8 packs, 32" in spoilt.words


def test_the_minimum_may_reach_a_price_break_and_what_needs_no_room_is_not_cut():
    assert decided(1, replace(TEN, minimum_packs=9), None, all_used).limited == ("pack", "minimum")
    assert decided(1, replace(TEN, minimum_packs=9), None, all_used).packs == 10
    assert decided(30, replace(PACKED, space=0), 0, all_used).packs == 8
    assert decided(0, TEN, None, all_used).packs == 0


def test_the_line_costs_what_its_packs_cost():
    given_line = OrderInput(
        product=TEN, now=0, arrives_at=DAY, covers_until=9 * DAY, known=((5, 36),), unbooked=poisson(0)
    )
    line = order_line(given_line)
    assert (line.packs, line.order_quantity, line.cost) == (10, 40, Decimal(1800))
    assert "10 packs cost 1800.00, 9 would cost 1908.00" in line.why[2]


products = st.builds(
    lambda size, least, space, breaks: replace(
        PACKED, pack_size=size, minimum_packs=least, space=space,
        price_breaks=tuple(PriceBreak(n, Decimal(p)) for n, p in sorted(breaks.items())),
    ),
    st.integers(1, 5), st.integers(1, 4), st.integers(0, 3),
    st.dictionaries(st.integers(2, 30), st.integers(1, 211), max_size=3),
)  # fmt: skip


@given(
    products, st.integers(-3, 60), st.one_of(st.none(), st.integers(-5, 200)), st.integers(0, 150), st.integers(0, 9)
)
def test_laws_of_a_quantity(product, need, space, lasting, more):
    def in_time(pieces):
        return min(pieces, lasting)

    made, size = decided(need, product, space, in_time), product.pack_size
    assert made.packs >= 0
    assert made.packs * size <= lasting
    if space is not None and product.space:
        assert made.packs * size * product.space <= max(0, space)
    plain = decided(need, replace(product, price_breaks=()), space, in_time)
    assert made.packs >= plain.packs and made.limited == plain.limited
    if made.packs > plain.packs:
        assert made.packs * product.price(made.packs) <= plain.packs * product.price(plain.packs)
    if need > 0 and not {"space", "shelf_life"} & set(made.limited):
        assert made.packs * size >= need and made.packs >= product.minimum_packs
    # needing more never orders less
    assert decided(need + more, product, space, in_time).packs >= made.packs


# --- the chance with which all of an order is used before it expires ---

LASTS = Product("CK", "kit", "kit", "Any", shelf_life_days=20)


def lasting(chance, **changes):
    base = OrderInput(
        product=LASTS, now=0, arrives_at=4 * DAY, covers_until=14 * DAY, known=(), unbooked=poisson(3), daily_rate=3 / 14,
        use_chance=chance, unbooked_life=poisson(5),
    )  # fmt: skip
    return replace(base, **changes)


@pytest.mark.parametrize(("chance", "pieces"), [(0.5, 5), (0.9, 2), (0.95, 2), (0.99, 1), (0.993, 1), (0.994, 0)])
def test_at_the_chance_that_the_manager_sets(chance, pieces):
    # derived, scipy: until its expiry Poisson 5; at least 5 come with .5595 (6: .3840), 2 with .9596, 3 with .8753,
    # 1 with .99326
    assert used_in_time(lasting(chance), 30) == pieces
    assert certain(poisson(5), chance) == pieces
    # two booked before its expiry come on top, and those after it do not; two there go first
    known = ((15 * DAY, 2), (24 * DAY, 7))
    assert used_in_time(lasting(chance, known=known), 30) == pieces + 2
    assert used_in_time(lasting(chance, known=known, lots=((19 * DAY, 2),)), 30) == pieces
    assert used_in_time(lasting(chance, known=known, lots=((19 * DAY, 2),)), 1) == min(1, pieces)


def test_other_stock_serves_what_expected_demand_lets_it():
    # derived: nothing but 3 booked on day 2 and 4 on day 10. 5 there that end on day 3 serve three, and two spoil: all
    # four of day 10 are the order's. With an end on day 12 they serve two of the four too. What keeps longer than the
    # order serves the first three only until the order is there
    booked = ((2 * DAY, 3), (10 * DAY, 4))
    sure = lasting(0.99, known=booked, unbooked=poisson(0), unbooked_life=poisson(0), daily_rate=0.0)
    for ends, pieces in ((3, 4), (12, 2), (None, 4)):
        lots = ((None if ends is None else ends * DAY, 5),)
        assert used_in_time(replace(sure, lots=lots), 30) == pieces
    # an open order of 3 that is here on day 5 and lasts a day longer goes after it; one of day 3 before it
    assert used_in_time(replace(sure, on_order=((5 * DAY, 3),)), 30) == 7
    assert used_in_time(replace(sure, on_order=((3 * DAY, 3),)), 30) == 4


def test_a_chance_needs_its_demand_and_no_shelf_life_needs_no_chance():
    with pytest.raises(ValueError, match="until the expiry"):
        used_in_time(lasting(0.9, unbooked_life=None), 3)
    assert used_in_time(lasting(0.9, product=replace(LASTS, shelf_life_days=None), unbooked_life=None), 99) == 99


def test_the_line_is_cut_at_the_chance():
    # derived: need 9 for a target of .99 (Poisson 3 reaches it at 8; 1 booked). At .9 sure: 2 of the Poisson 5, 1 booked
    line = order_line(lasting(0.9, known=((10 * DAY, 1),), target=0.99))
    assert (line.need, line.order_quantity, line.limited_by) == (9, 3, ("shelf_life",))
    assert "only 3 of 9 are used before they expire at a chance of 90 %: 3 packs, 3" in line.why[2]
    assert any("chance of no shortage" in said for said in line.why)
    # expected use, which is what decides without a chance, lets more pass: about 5 until day 24, and the one booked
    assert order_line(lasting(None, known=((10 * DAY, 1),), target=0.99)).order_quantity > 3


@settings(max_examples=60, deadline=None)
@given(st.floats(0.3, 12), st.floats(0.05, 0.99), st.integers(0, 8), st.integers(0, 5), st.integers(1, 20))
def test_the_chance_is_kept_to_the_piece(mean, chance, there, booked, seed):
    # derived: stock that outlasts the demand of the weeks, then the order; P(booked + Poisson >= there + order) >= chance,
    # and with one piece more it would not be. Counted in a hundred thousand draws, to four standard errors
    given_line = lasting(
        chance, known=((9 * DAY, booked),) if booked else (), lots=((23 * DAY, there),) if there else (),
        unbooked=poisson(0), daily_rate=0.0, unbooked_life=poisson(mean),
    )  # fmt: skip
    # expected demand must use up what is there, so that nothing of it spoils
    rate = (there + 1) / 23
    most = used_in_time(replace(given_line, daily_rate=rate, unbooked=poisson(14 * rate)), 10_000)
    drawn = booked + np.random.default_rng(seed).poisson(mean, 100_000)
    error = 4 * math.sqrt(chance * (1 - chance) / 100_000) + 1e-4
    assert float((drawn >= there + most).mean()) >= chance - error or most == 0
    assert float((drawn >= there + most + 1).mean()) <= chance + error
