"""Room in the fridges from now on, against single pieces; who gets it; the orders of suppliers that share it."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.counts import poisson
from stockroom.core.order_list import Asked, supplier_orders
from stockroom.core.orders import DAY, OrderInput, order_line
from stockroom.core.practice import Keep, Product, Supplier
from stockroom.core.room import Inside, Room, Wish, room_ahead, shared


def test_only_what_is_certain_makes_room():
    # derived: 40 spaces; 6 kits of 2 spaces and 3 held ones stand there: 22 free. 4 more come at 50: 14. Two leave at 30
    # and three at 60: 26 from 30 on, 18 from 50, 24 from 60
    kits = Inside(2, lots=((100, 2), (200, 4)), idle=3, comes=((50, 4),), leaves=((30, 2), (60, 3)))
    room = room_ahead(40, 10, [kits], [20])
    assert (room.marks, room.free) == ((10, 20, 30, 50, 60), (22, 22, 26, 18, 24))
    # an order may arrive where no later moment is too small for it
    assert [room.least(at) for at in (10, 30, 49, 55, 60, 999)] == [18, 18, 18, 18, 24, 24]
    # what expired before its booking stays where it is; what is not there is not taken later
    assert room_ahead(10, 0, [Inside(1, lots=((20, 3),), leaves=((30, 2),))]).free == (7, 7)
    late = Inside(1, lots=((99, 1),), comes=((40, 5),), leaves=((30, 3),))
    assert room_ahead(10, 0, [late]).free == (9, 10, 5)
    # a delivery is in before what leaves after it, and no delivery is overdue here
    assert room_ahead(10, 35, [Inside(1, comes=((40, 5), (20, 1)), leaves=((41, 6),))]).free == (9, 4, 10)
    assert room_ahead(7, 0, []).free == (7,)


pieces = st.integers(0, 5)
inside = st.builds(
    Inside,
    st.integers(0, 3),
    st.lists(st.tuples(st.one_of(st.none(), st.integers(1, 40)), pieces), max_size=3).map(tuple),
    pieces,
    st.lists(st.tuples(st.integers(0, 40), pieces), max_size=3).map(tuple),
    st.lists(st.tuples(st.integers(0, 40), pieces), max_size=5).map(tuple),
)


@settings(deadline=None)
@given(st.lists(inside, max_size=3), st.integers(0, 60), st.lists(st.integers(0, 50), max_size=2))
def test_room_is_that_beside_single_pieces(contents, capacity, marks):
    # derived: every instant in turn, what leaves taking single pieces that are there and good, first expired first out
    room = room_ahead(capacity, 0, contents, marks)
    shelves = [[end for end, n in one.lots for _ in range(n)] for one in contents]
    arrived = [0] * len(contents)
    for at in range(51):
        free = capacity
        for i, one in enumerate(contents):
            for _ in range(sum(n for when, n in one.leaves if when == at)):
                good = [end for end in shelves[i] if end is None or end > at]
                if good:
                    shelves[i].remove(min(good, key=lambda end: (end is None, end or 0)))
                elif arrived[i]:
                    arrived[i] -= 1
            arrived[i] += sum(n for when, n in one.comes if when == at)
            free -= one.space * (one.idle + len(shelves[i]) + arrived[i])
        last = max(i for i, mark in enumerate(room.marks) if mark <= at)
        assert room.free[last] == free


def likeliest(chances):
    """A rank that falls with the packs: the chance of no shortage with none, one, two …"""
    return lambda packs: (chances[packs], 0.0)


def test_each_pack_goes_where_a_shortage_is_likeliest():
    # derived: A .5 .9 .95, B .6 .7 .8: to A, then B (.6 < .9), B (.7 < .9); then B has all, so A
    a = Wish("A", 0, 2, 2, likeliest([0.5, 0.9, 0.95]))
    b = Wish("B", 0, 1, 2, likeliest([0.6, 0.7, 0.8]))
    for free, got in ((0, (0, 0)), (1, (0, 1)), (2, (1, 0)), (3, (1, 1)), (4, (1, 2)), (5, (1, 2)), (6, (2, 2))):
        assert tuple(shared([a, b], Room((0,), (free,))).values()) == got
    # of equals the first; what needs no room has all it wants; a fridge that is overfull gives none
    same = [Wish(k, 0, 1, 2, likeliest([0.5, 0.5, 0.5])) for k in "AB"]
    assert shared(same, Room((0,), (3,))) == {"A": 2, "B": 1}
    assert shared([Wish("A", 0, 0, 5, likeliest([0.5] * 6)), b], Room((0,), (-4,))) == {"A": 5, "B": 0}


def test_room_is_shared_at_the_moment_of_arrival():
    # derived: 2 free until 10, then 5, from 20 on 3. What comes at 10 may be 3 in all; what comes at 0 may be 2
    room = Room((0, 10, 20), (2, 5, 3))
    early, late = Wish("E", 0, 1, 9, likeliest([0.1] * 10)), Wish("L", 10, 1, 9, likeliest([0.2] * 10))
    assert shared([early, late], room) == {"E": 2, "L": 1}
    assert shared([late], room) == {"L": 3}


wishes = st.lists(
    st.tuples(st.sampled_from([0, 10, 20]), st.integers(0, 4), st.integers(0, 6), st.floats(0, 1)), max_size=5
)


@given(wishes, st.lists(st.integers(-3, 40), min_size=3, max_size=3))
def test_laws_of_sharing(rows, free):
    made = [Wish(i, at, space, packs, lambda n, c=c: (c + n / 10,)) for i, (at, space, packs, c) in enumerate(rows)]
    room = Room((0, 10, 20), tuple(free))
    got = shared(made, room)
    for wish in made:
        room = room.filled(wish.at, got[wish.key] * wish.space)
        assert 0 <= got[wish.key] <= wish.packs
    for wish in made:
        if got[wish.key] * wish.space:
            assert room.least(wish.at) >= 0
        # none goes without that would still fit
        if got[wish.key] < wish.packs:
            assert room.least(wish.at) < wish.space


# --- the orders of suppliers ---

KIT = Product("A", "kit", "kit", "One", keep=Keep(2000, 8000), pack_size=2, pack_price=Decimal(10))


def asked(name, inputs, arrives=DAY, minimum=0):
    supplier = Supplier(name, (0,), 1, (1,), minimum_order=Decimal(minimum))
    return Asked(supplier, arrives, tuple(inputs))


def wants(code, mean, **changes):
    base = OrderInput(
        product=replace(KIT, code=code), now=0, arrives_at=DAY, covers_until=9 * DAY, known=(), unbooked=poisson(mean)
    )
    return replace(base, **changes)


def quantities(found):
    return {line.product: line.order_quantity for one in found for line in one.lines}


def test_what_is_short_of_a_booking_comes_first_and_the_sooner_booking_before_the_later():
    # derived: A is nearly sure to need something, B and C lack a booked kit each, C's sooner: with room for one pack it is
    # C's, with two B has one, with three A
    asks = [asked("One", [wants("A", 6), wants("B", 0, known=((5 * DAY, 1),)), wants("C", 0, known=((3 * DAY, 1),))])]
    orders = [quantities(supplier_orders(asks, Room((0, DAY), (n, n)))) for n in (2, 4, 6)]
    assert orders == [{"A": 0, "B": 0, "C": 2}, {"A": 0, "B": 2, "C": 2}, {"A": 2, "B": 2, "C": 2}]
    # without a limit, and at room temperature, nothing is cut
    assert quantities(supplier_orders(asks, None)) == {"A": 10, "B": 2, "C": 2}
    warm = [asked("One", [wants("A", 6, product=replace(KIT, keep=None))])]
    assert quantities(supplier_orders(warm, Room((0, DAY), (0, 0)))) == {"A": 10}


def test_the_room_that_each_line_had_is_on_it():
    # derived: 7 spaces: A's 4 packs want 8, B's 1 pack 2. B gets its pack (short of a booking), A the rest of 5: 2 packs
    asks = [asked("One", [wants("A", 4, target=0.9), wants("B", 0, known=((DAY, 1),))])]
    (one,) = supplier_orders(asks, Room((0, DAY), (7, 7)))
    assert [(given.free_space, line.order_quantity) for given, line in zip(one.inputs, one.lines, strict=True)] == [
        (5, 4),
        (3, 2),
    ]
    assert [line.limited_by for line in one.lines] == [("pack", "space"), ("pack",)]
    assert one.lines[0] == order_line(one.inputs[0]) and one.lines[1] == order_line(one.inputs[1])


def test_a_withheld_order_takes_no_room():
    # derived: a pack of A (10.00) is below the minimum of 25.00, alone in the fridge or not: B has both packs
    lone = asked("One", [wants("A", 0, known=((DAY, 2),))], minimum=25)
    other = asked("Two", [wants("B", 2)])
    first, second = supplier_orders([lone, other], Room((0, DAY), (4, 4)))
    assert (quantities([first]), quantities([second])) == ({"A": 0}, {"B": 4})
    assert first.lines[0].limited_by == ("supplier",)
    # one that only sharing makes too small gives back what it had: C is short of a booking, and 3 packs are wanted of A
    three = asked("One", [wants("A", 0, known=((2 * DAY, 6),))], minimum=30)
    sooner = asked("Two", [wants("C", 0, known=((DAY, 2),)), wants("B", 1)])
    first, second = supplier_orders([three, sooner], Room((0, DAY), (6, 6)))
    assert first.lines[0].limited_by == ("space", "supplier")
    assert quantities([second]) == {"C": 2, "B": 4}


lines = st.builds(
    lambda size, space, mean, booked, there: wants(
        "A", mean, product=replace(KIT, pack_size=size, space=space),
        known=tuple((DAY * d, 1) for d in sorted(booked)), lots=((None, there),) if there else (),
    ),
    st.integers(1, 4), st.integers(0, 3), st.floats(0, 6), st.lists(st.integers(0, 8), max_size=3),
    st.integers(0, 4),
)  # fmt: skip


@settings(deadline=None, max_examples=80)
@given(
    st.lists(st.tuples(st.sampled_from([0, DAY, 2 * DAY]), st.sampled_from([0, 0, 35]), st.lists(lines, max_size=3)), max_size=3),
    st.lists(st.integers(-2, 40), min_size=3, max_size=3),
)  # fmt: skip
def test_no_order_ever_exceeds_the_room(suppliers, free):
    asks = []
    for i, (at, minimum, inputs) in enumerate(suppliers):
        named = [replace(g, product=replace(g.product, code=f"P{i}-{n}")) for n, g in enumerate(inputs)]
        asks.append(asked(f"S{i}", named, at, minimum))
    start = room = Room((0, DAY, 2 * DAY), tuple(free))
    found = supplier_orders(asks, room)
    for one, answer in zip(asks, found, strict=True):
        for given_line, line in zip(answer.inputs, answer.lines, strict=True):
            space = line.order_quantity * given_line.product.space
            room = room.filled(one.arrives_from, space)
            assert space <= max(0, given_line.free_space)
        assert answer.order.total == sum(line.cost for line in answer.lines)
        assert answer.order.total == 0 or answer.order.total >= one.supplier.minimum_order
    for one, answer in zip(asks, found, strict=True):
        if any(line.order_quantity * g.product.space for g, line in zip(answer.inputs, answer.lines, strict=True)):
            assert room.least(one.arrives_from) >= 0
    assert all(a <= b for a, b in zip(room.free, start.free, strict=True))


@pytest.mark.parametrize("packs", [3000])
def test_many_packs_are_given_out_quickly(packs):
    # derived: half the room for each, to within a step of three packs
    a, b = (Wish(k, 0, 1, packs, lambda n: (n / 10_000,)) for k in "AB")
    got = shared([a, b], Room((0,), (packs,)))
    assert sum(got.values()) == packs and abs(got["A"] - got["B"]) <= 3
