"""Order lines: the sum, the cuts, the words, and the laws."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from stockroom.core.counts import negative_binomial, poisson
from stockroom.core.orders import DAY, OrderInput, by_supplier, joint_chance, order_line
from stockroom.core.practice import Procedure, Product, Supplier, Use
from stockroom.core.protection import Way
from stockroom.core.usage import used_by

NOW = 1_772_441_000
KIT = Product(
    "CK",
    "kit",
    "kit",
    "Any",
    warmup_seconds=30 * 3600,
    pack_size=4,
    pack_price=Decimal("212.00"),
    minimum_packs=1,
    space=1,
)


def given_line(**changes) -> OrderInput:
    """Two weeks to cover, the order here after four days; nothing booked, expected or there."""
    base = OrderInput(
        product=KIT,
        now=NOW,
        arrives_at=NOW + 4 * DAY,
        covers_until=NOW + 14 * DAY,
        known=(),
        unbooked=poisson(0),
    )
    return replace(base, **changes)


def at(*pieces: int) -> tuple[tuple[int, int], ...]:
    """Bookings of so many pieces, on the fifth day, the sixth …"""
    return tuple((NOW + (5 + n) * DAY, quantity) for n, quantity in enumerate(pieces))


FIVE_BOOKED = given_line(known=at(3, 2), unbooked=poisson(2.4), lots=((None, 4),), free_space=30)


def test_need_in_whole_packs():
    # derived (rule stated), scipy: bookings 3 and 2, Poisson 2.4, .95, position 4, packs of 4, space for 30
    line = order_line(FIVE_BOOKED)
    assert (line.known_demand, line.unbooked_quantile, line.need, line.order_quantity, line.packs) == (
        5,
        5,
        6,
        8,
        2,
    )
    assert line.achieved == line.no_shortage == pytest.approx(0.9966613830507716, abs=1e-11)
    assert line.limited_by == ("pack",)
    assert line.unbooked_mean == pytest.approx(2.4)
    assert line.cost == Decimal("424.00")
    assert len(line.why) >= 3
    assert "5 booked" in line.why[0] and "4 usable" in line.why[1] and "that is 8" in line.why[2]


def test_nothing_needed():
    # derived (rule stated), scipy: bookings 2 and 2, Poisson 1.2, .98, position 9, packs of 6
    line = order_line(
        given_line(
            product=replace(KIT, pack_size=6),
            known=at(2, 2),
            unbooked=poisson(1.2),
            target=0.98,
            lots=((None, 9),),
        )
    )
    assert (line.unbooked_quantile, line.need, line.order_quantity, line.limited_by) == (4, -1, 0, ())
    assert line.achieved == pytest.approx(0.99849977490177, abs=1e-11)
    assert "nothing to order" in line.why[2]


def test_demand_that_varies_more_needs_more():
    # derived, scipy: .95 quantiles of Poisson 4 and of negative binomial 4 with variance 8 are 8 and 9
    assert order_line(given_line(unbooked=poisson(4))).need == 8
    assert order_line(given_line(unbooked=negative_binomial(4, 8))).need == 9


@pytest.mark.parametrize(
    ("lead", "both", "level", "rate"),
    [
        (poisson(2), poisson(4), 7, 0.958314987608562),
        (negative_binomial(2, 4), negative_binomial(4, 8), 10, 0.96728515625),
    ],
)
def test_fill_target(lead, both, level, rate):
    # derived, scipy: weekly 2 (variance 2 or 4), review 1, lead 1, .95 by fill: 7 and 10
    line = order_line(
        given_line(
            product=replace(KIT, pack_size=1),
            unbooked=both,
            unbooked_lead=lead,
            target_kind="fill",
            known=at(1),
        )
    )
    assert (line.unbooked_quantile, line.need, line.order_quantity) == (level, level + 1, level + 1)
    assert line.achieved == pytest.approx(rate, abs=1e-9)
    assert line.no_shortage == pytest.approx(float(both[: level + 1].sum()))


def test_a_target_kind_without_what_it_needs():
    for kind in ("fill", "ready"):
        with pytest.raises(ValueError, match=f'target kind "{kind}"'):
            order_line(given_line(unbooked=poisson(1), target_kind=kind))


def test_the_minimum_comes_after_the_packs():
    line = order_line(given_line(product=replace(KIT, minimum_packs=3), known=at(2)))
    assert (line.need, line.order_quantity, line.limited_by) == (2, 12, ("pack", "minimum"))


def test_the_fridge_cuts_in_whole_packs():
    # derived: two of space a piece, 23 free: 2 packs of 3 wanted; 4 + 8 - 5 = 7, P(Poisson 6 <= 7) = .744
    line = order_line(
        replace(FIVE_BOOKED, product=replace(KIT, space=2), unbooked=poisson(6), lots=((None, 4),), free_space=23)
    )
    assert (line.unbooked_quantile, line.need, line.packs, line.limited_by) == (10, 11, 2, ("pack", "space"))
    assert line.achieved == pytest.approx(float(poisson(6)[:8].sum())) and line.achieved < line.target
    assert any("chance of no shortage of 74.4 %" in said for said in line.why)
    assert not any("NOT ENOUGH" in said for said in line.why)


def test_a_cut_below_what_is_booked_is_said_loudly():
    line = order_line(replace(FIVE_BOOKED, lots=((None, 1),), free_space=3))
    assert (line.need, line.order_quantity, line.limited_by) == (9, 0, ("pack", "space"))
    assert any("NOT ENOUGH FOR WHAT IS BOOKED: 5 booked, 1 there" in said for said in line.why)
    assert line.achieved == 0
    full = order_line(replace(FIVE_BOOKED, free_space=-2))
    assert full.order_quantity == 0, "a fridge that is overfull has no room"


def test_the_space_may_force_less_than_the_minimum():
    line = order_line(replace(FIVE_BOOKED, product=replace(KIT, minimum_packs=3), free_space=9))
    assert (line.order_quantity, line.limited_by) == (8, ("pack", "minimum", "space"))
    assert "below the minimum of 3 packs: ask the supplier" in line.why[2]


def test_a_short_shelf_life_cuts():
    # derived: the order is good until day 10; by then ten booked and, at one a day, 10 of the 14 to come
    # (those of the first four days wait for it): 20 of the 30 needed, in packs of 6: 18
    short = replace(KIT, shelf_life_days=6, pack_size=1)
    line = order_line(given_line(product=short, known=at(10), unbooked=poisson(14), daily_rate=1.0))
    assert line.need == 30
    assert (line.order_quantity, line.limited_by) == (20, ("shelf_life",))
    assert line.expected_waste == 0
    by_six = order_line(
        given_line(product=replace(short, pack_size=6), known=at(10), unbooked=poisson(14), daily_rate=1.0)
    )
    assert (by_six.order_quantity, by_six.limited_by) == (18, ("shelf_life",))


def test_bookings_far_ahead_count_as_use():
    # derived: one booked soon, three in six weeks, nothing else expected: the pack of 4 is used up; without
    # the three it is not
    far = tuple((NOW + 42 * DAY + n, 1) for n in range(3))
    fresh = replace(KIT, shelf_life_days=60)
    line = order_line(given_line(product=fresh, known=(*at(1), *far)))
    assert (line.known_demand, line.need, line.order_quantity, line.expected_waste) == (1, 1, 4, 0)
    alone = order_line(given_line(product=fresh, known=at(1)))
    assert (alone.order_quantity, alone.limited_by) == (0, ("pack", "shelf_life"))
    assert any("NOT ENOUGH" in said for said in alone.why)


def test_bookings_far_ahead_are_part_of_the_long_run_rate():
    # derived: one a day is expected from day 14 on; of the seven of the third week three are booked already:
    # of ten that end with that week seven are used, not ten
    booked = tuple((NOW + 15 * DAY + n, 1) for n in range(3))
    line = order_line(given_line(known=booked, daily_rate=1.0, lots=((NOW + 21 * DAY, 10),)))
    assert line.expected_waste == pytest.approx(3)
    # the week after it is an ordinary one again: 3 + 4 + 7 of twenty
    line = order_line(given_line(known=booked, daily_rate=1.0, lots=((NOW + 28 * DAY, 20),)))
    assert line.expected_waste == pytest.approx(6)


@pytest.mark.parametrize(
    ("lots", "mean", "expiring"),
    [
        # derived: two booked on day 5 and one on day 6, first expired first out
        (((NOW + 3 * DAY, 5),), 0, 5),  # gone before the first booking
        (((NOW + 6 * DAY, 5),), 0, 3),
        (((NOW + 8 * DAY, 5),), 0, 2),
        (((NOW + 6 * DAY, 2), (NOW + 8 * DAY, 3)), 0, 2),
        (((NOW + 6 * DAY, 2), (None, 3)), 0, 0),
        (((NOW + 15 * DAY, 9),), 0, 0),  # expires after the next order is usable
        (((NOW + 14 * DAY, 9),), 0, 0),  # and just then
        # 0.1 a day unbooked: a kit that ends tomorrow is left by 0.9 and not counted on; in 8 days by 0.2
        (((NOW + DAY, 1),), 1.4, 1),
        (((NOW + 4 * DAY + 3600, 1),), 1.4, 1),
        (((NOW + 8 * DAY, 4),), 1.4, 0),
        # the sum is rounded, not each lot: 0.9 + 1.3 = 2.2
        (((NOW + DAY, 1), (NOW + 8 * DAY, 5)), 1.4, 2),
    ],
)
def test_what_expires_unused_is_not_counted(lots, mean, expiring):
    line = order_line(given_line(known=at(2, 1), unbooked=poisson(mean), lots=lots))
    assert line.expiring_unused == expiring
    assert line.need == 3 + line.unbooked_quantile - (sum(n for _, n in lots) - expiring)


def test_open_orders_count_when_they_come_in_time():
    # derived: 3 arrive before covers_until, 7 after it
    orders = ((NOW + 5 * DAY, 3), (NOW + 14 * DAY, 7))
    line = order_line(given_line(known=at(3, 2), on_order=orders))
    assert (line.on_order, line.need, line.usable) == (3, 2, 0)
    # and those that spoil before anyone uses them do not: shelf life two days, nothing booked until day 9
    late = given_line(product=replace(KIT, shelf_life_days=2), known=((NOW + 9 * DAY, 5),), on_order=orders)
    assert (order_line(late).on_order, order_line(late).expiring_unused, order_line(late).need) == (3, 3, 5)


def test_past_bookings_count_and_later_ones_do_not():
    known = ((NOW - DAY, 1), (NOW + 14 * DAY - 1, 2), (NOW + 14 * DAY, 4))
    assert order_line(given_line(known=known)).known_demand == 3


def test_overdue_orders_are_named_and_count_as_nothing():
    line = order_line(replace(FIVE_BOOKED, overdue=(("O-3", 8),)))
    assert (line.on_order, line.need) == (0, 6)
    assert any(said.startswith("O-3 (8) is overdue") for said in line.why)


def test_held_stock_and_what_its_release_would_change():
    # derived: 3 held: need 6 - 3 = 3, one pack of 4 instead of two; held ones that expire first do not help
    line = order_line(replace(FIVE_BOOKED, held=((None, 3),)))
    assert line.order_quantity == 8
    assert "3 held: if released, need 3 and order 4" in line.why
    useless = order_line(replace(FIVE_BOOKED, held=((NOW + DAY, 3),)))
    assert "3 held: if released, need 6 and order 8" in useless.why


def test_bookings_that_the_order_cannot_reach():
    # derived: 3 booked on day 5; the order is here on day 4 and warm 30 h later, after them; 1 there
    line = order_line(given_line(known=at(3), lots=((None, 1),)))
    assert any(said.startswith("TOO LATE FOR 2: 3 booked before") for said in line.why)
    dry = order_line(given_line(product=replace(KIT, warmup_seconds=0), known=at(3), lots=((None, 1),)))
    assert not any("TOO LATE" in said for said in dry.why)
    # an open order helps only where it is here no later
    for day, late in ((4, False), (5, True)):
        more = given_line(known=at(3), lots=((None, 1),), on_order=((NOW + day * DAY, 2),))
        assert any("TOO LATE" in said for said in order_line(more).why) is late


SUPPLY = Product("SWAB", "swab", "supply", "Any", pack_size=50, pack_price=Decimal("4.90"))


def test_below_the_suppliers_minimum_nothing_is_ordered():
    # derived: 2 x 212.00 + 4.90 = 428.90
    inputs = [
        FIVE_BOOKED,
        given_line(product=SUPPLY, known=at(10)),
        given_line(product=replace(KIT, code="CK2")),
    ]
    exact = Supplier("Any", (0,), 3, (3,), minimum_order=Decimal("428.90"))
    order = by_supplier(inputs, exact, "GBP")
    assert order.total == Decimal("428.90")
    assert [(n.product, n.order_quantity) for n in order.lines] == [("CK", 8), ("SWAB", 50)]
    assert [n.product for n in order.nothing_needed] == ["CK2"]
    withheld = by_supplier(inputs, replace(exact, minimum_order=Decimal(429)), "GBP")
    assert withheld.total == 0
    assert [(n.product, n.order_quantity, n.packs, n.cost) for n in withheld.lines] == [
        ("CK", 0, 0, 0),
        ("SWAB", 0, 0, 0),
    ]
    kit = withheld.lines[0]
    assert kit.limited_by == ("pack", "supplier")
    assert "428.90 GBP" in kit.why[2] and "429.00 GBP" in kit.why[2] and "nothing is ordered" in kit.why[2]
    assert any("NOT ENOUGH" in said for said in kit.why)
    assert kit.achieved == 0 and kit.need == 6
    assert [n.product for n in withheld.nothing_needed] == ["CK2"]


def test_a_line_without_a_price():
    inputs = [
        given_line(product=replace(KIT, pack_price=None), known=at(1)),
        given_line(product=SUPPLY, known=at(1)),
    ]
    order = by_supplier(inputs, Supplier("Any", (0,), 3, (3,), minimum_order=Decimal(100)))
    assert order.total == Decimal("4.90")
    assert [n.order_quantity for n in order.lines] == [4, 50]
    assert all("CK has no price" in n.why[-1] for n in order.lines)
    nothing = by_supplier([given_line()], Supplier("Any", (0,), 3, (3,), minimum_order=Decimal(100)))
    assert (nothing.total, nothing.lines) == (0, ())


def test_joint_chance():
    # derived: .95^7 = .6983; a procedure's own products only
    seven = {f"P{n}": 0.95 for n in range(7)}
    assert joint_chance(seven, seven) == pytest.approx(0.6983372960937497)
    uses = used_by(Procedure("p", 10, uses=(Use("P1", each=1), Use("P2", each=2))), None, {}).loose
    assert joint_chance(seven, uses) == pytest.approx(0.9025)
    assert joint_chance({}, []) == 1.0


quantities = st.integers(0, 12)
instants = st.integers(-2, 40).map(lambda days: NOW + days * DAY)
products = st.builds(
    lambda pack, least, space, life: replace(
        KIT, pack_size=pack, minimum_packs=least, space=space, shelf_life_days=life
    ),
    st.integers(1, 6), st.integers(1, 3), st.integers(0, 3), st.one_of(st.none(), st.integers(1, 60)),
)  # fmt: skip
inputs = st.builds(
    given_line,
    product=products,
    known=st.lists(st.tuples(instants, st.integers(1, 3)), max_size=6).map(lambda k: tuple(sorted(k))),
    unbooked=st.floats(0, 9).map(poisson),
    daily_rate=st.floats(0, 1),
    target=st.floats(0.5, 0.99),
    lots=st.lists(st.tuples(st.one_of(st.none(), instants), quantities), max_size=4).map(tuple),
    on_order=st.lists(st.tuples(instants, quantities), max_size=2).map(tuple),
    free_space=st.one_of(st.none(), st.integers(0, 40)),
    use_chance=st.one_of(st.none(), st.floats(0.05, 0.99)),
    unbooked_life=st.floats(0, 20).map(poisson),
    ways=st.one_of(
        st.just(()),
        st.lists(st.tuples(st.integers(1, 5), instants, st.floats(0, 9).map(poisson)), min_size=1, max_size=3).map(
            lambda rows: tuple(Way(n / sum(r[0] for r in rows), end, pmf) for n, end, pmf in rows)
        ),
    ),
)


@settings(deadline=None, max_examples=200)
@given(inputs)
def test_laws_of_a_line(given_input):
    line, product = order_line(given_input), given_input.product
    assert line.order_quantity == line.packs * product.pack_size >= 0
    assert (
        line.need == line.known_demand + line.unbooked_quantile - (line.usable - line.expiring_unused) - line.on_order
    )
    if given_input.free_space is not None:
        assert line.order_quantity * product.space <= given_input.free_space
    cut = {"space", "shelf_life"} & set(line.limited_by)
    if not cut:
        assert line.order_quantity >= line.need
        assert line.achieved >= line.target - 1e-11
        assert line.need <= 0 or line.packs >= product.minimum_packs
    assert line.order_quantity >= line.need or cut
    assert 0 <= line.expected_waste <= line.usable + sum(n for _, n in given_input.on_order) + line.order_quantity
    assert len(line.why) >= 3
    there = line.usable - line.expiring_unused + line.on_order + line.order_quantity
    assert any("NOT ENOUGH" in said for said in line.why) == (there < line.known_demand)


@settings(deadline=None, max_examples=100)
@given(inputs)
def test_an_order_is_used_before_it_expires(given_input):
    # with nothing else there, all that is expected to be wasted is of this order, and rounds to nothing
    assert order_line(replace(given_input, lots=(), on_order=(), use_chance=None)).expected_waste <= 0.5


@settings(deadline=None, max_examples=100)
@given(inputs, st.floats(0.05, 0.99), st.floats(0.05, 0.99))
def test_the_surer_the_use_must_be_the_less_is_ordered(given_input, one, other):
    # derived: with nothing else there, all of the order is used where demand until its expiry reaches it
    low, high = sorted((one, other))
    loose, strict = (order_line(replace(given_input, use_chance=chance)) for chance in (low, high))
    assert strict.order_quantity <= loose.order_quantity
    if given_input.expiry is not None and strict.order_quantity:
        alone = order_line(replace(given_input, use_chance=high, lots=(), on_order=()))
        booked = sum(n for at, n in given_input.known if at < given_input.expiry)
        pmf = given_input.unbooked_life
        assert float(pmf[max(0, alone.order_quantity - booked) :].sum()) >= high - 1e-9


@settings(deadline=None, max_examples=150)
@given(inputs, st.one_of(st.none(), instants), st.integers(1, 6))
def test_more_stock_never_raises_the_order(given_input, expiry, more):
    line = order_line(given_input)
    richer = order_line(replace(given_input, lots=(*given_input.lots, (expiry, more))))
    assert richer.need <= line.need
    assert richer.order_quantity <= line.order_quantity


@settings(deadline=None, max_examples=100)
@given(inputs, st.floats(0.5, 0.99), st.booleans())
def test_a_higher_target_never_lowers_the_need(given_input, other, fill):
    if fill:
        lead = poisson(float(given_input.unbooked @ range(len(given_input.unbooked))) / 3)
        given_input = replace(given_input, target_kind="fill", unbooked_lead=lead, ways=())
    low, high = sorted((given_input.target, other))
    assert order_line(replace(given_input, target=low)).need <= order_line(replace(given_input, target=high)).need


@settings(deadline=None, max_examples=100)
@given(inputs, st.floats(0.2, 0.9))
def test_fill_reaches_its_target_where_nothing_is_cut(given_input, share):
    mean = float(given_input.unbooked @ range(len(given_input.unbooked)))
    assume(mean > 0.01)
    line = order_line(replace(given_input, target_kind="fill", unbooked_lead=poisson(mean * share), ways=()))
    if not {"space", "shelf_life"} & set(line.limited_by):
        assert line.achieved >= line.target - 1e-9
