"""Transfers between sites: worked cases by hand, the laws that none may break, and the most that can be saved.

Days are counted from 0; what is still to be booked is spread evenly until covers_until (derived: each case's own sum).
"""

from dataclasses import replace
from decimal import Decimal
from itertools import product as every

from hypothesis import given, settings
from hypothesis import strategies as st

from stockroom.core.counts import poisson
from stockroom.core.orders import OrderInput, order_line
from stockroom.core.practice import Keep, Product
from stockroom.core.stock_path import bad_case
from stockroom.core.transfers import (
    Movable,
    fits,
    spare,
    transfers,
    wanted,
    with_more,
    without,
)
from stockroom.core.transfers import _left as left

DAY = 86_400
KIT = Product(
    "KIT", "Kit", "kit", "x", keep=Keep(2000, 8000), warmup_seconds=DAY, pack_size=4, pack_price=Decimal(100),
    shelf_life_days=300, space=2,
)  # fmt: skip
SWAB = Product("SWAB", "Swab", "supply", "x")


def site(lots=(), known=(), mean=0.0, rate=0.0, *, product=KIT, arrives=4, until=14, free=None, on_order=()):
    """A site; ends, starts and arrivals in days."""
    return OrderInput(
        product=product, now=0, arrives_at=arrives * DAY, covers_until=until * DAY,
        known=tuple((int(d * DAY), n) for d, n in known), unbooked=poisson(mean), daily_rate=rate, target=0.95,
        lots=tuple((None if d is None else int(d * DAY), n) for d, n in lots),
        on_order=tuple((int(d * DAY), n) for d, n in on_order), free_space=free,
    )  # fmt: skip


def movable(inputs, sites=None):
    return [
        Movable(name, f"L{i}", f"{name} fridge", end, n)
        for name, x in inputs.items()
        for i, (end, n) in enumerate(x.lots)
        if sites is None or name in sites
    ]


def moved(inputs, which=None):
    return [
        (t.site, t.target, t.end if t.end is None else t.end // DAY, t.pieces, t.expiring)
        for t in transfers(inputs, movable(inputs, which))
    ]


def test_what_would_expire_unused_serves_another_site() -> None:
    # East books nothing: 6 expire on day 10. West has 4 booked by then and 1 after it, and nothing there.
    inputs = {"East": site([(10, 6)]), "West": site(known=[(5, 2), (9, 2), (12, 1)])}
    assert moved(inputs) == [("East", "West", 10, 4, True)]
    # with what East itself has booked, only the rest
    inputs["East"] = site([(10, 6)], known=[(3, 3)])
    assert moved(inputs) == [("East", "West", 10, 3, True)]


def test_a_kit_must_be_warm_before_it_is_used_or_expires() -> None:
    # warm after a day: a lot that ends on the next day serves nobody, nor does any lot a booking in half a day
    assert moved({"East": site([(1, 6)]), "West": site(known=[(0.9, 2)])}) == []
    assert moved({"East": site([(10, 6)]), "West": site(known=[(0.5, 2)])}) == []
    assert moved({"East": site([(10, 6)]), "West": site(known=[(0.5, 2), (1.5, 1)])}) == [("East", "West", 10, 1, True)]
    # a swab needs no warming
    inputs = {"East": site([(1, 6)], product=SWAB), "West": site(known=[(0.5, 2)], product=SWAB)}
    assert moved(inputs) == [("East", "West", 1, 2, True)]


def test_what_is_beyond_a_sites_own_need_goes_after_what_expires() -> None:
    # East has 3 booked and 10 that last: 7 to spare. West needs 5.
    inputs = {"East": site([(100, 10)], known=[(5, 3)], rate=1), "West": site(known=[(6, 5)], rate=1)}
    assert moved(inputs) == [("East", "West", 100, 5, False)]
    # a lot that will expire unused at East goes first: 4 of 4 by day 9, then 1 of those that last
    inputs["East"] = site([(9, 4), (100, 10)], known=[(10, 3)], rate=1)
    assert moved(inputs) == [("East", "West", 9, 4, True), ("East", "West", 100, 1, False)]


def test_the_giver_keeps_what_may_come_until_its_own_order_can_be_used() -> None:
    # 4.2 expected until day 14, order warm on day 5: a Poisson of 1.5 by then, .95 at 4. Of the 6 that expire on
    # day 4, 4 x 0.3 = 1.2 will be used: 4.8 left, floor 4; kept for a bad case until day 4 (Poisson 1.2, .95 at 3): 3
    east = site([(4, 6)], mean=4.2)
    assert bad_case(east, 4 * DAY) == 3
    assert spare(east, 4 * DAY, expiring=True) == 3
    assert moved({"East": east, "West": site(known=[(2, 6)])}) == [("East", "West", 4, 3, True)]


def test_no_more_goes_than_there_is_room_for_and_than_is_needed() -> None:
    east = site([(10, 9)])
    assert moved({"East": east, "West": site(known=[(5, 6)], free=7)}) == [("East", "West", 10, 3, True)]
    assert moved({"East": east, "West": site(known=[(5, 6)], free=-2)}) == []
    assert moved({"East": east, "West": site([(50, 6)], known=[(5, 6)])}) == []
    # what is on order at West and due in time is counted
    assert moved({"East": east, "West": site(known=[(5, 6)], on_order=[(3, 4)])}) == [("East", "West", 10, 2, True)]


def test_what_takes_no_room_goes_where_there_is_none() -> None:
    # derived: 5 booked and nothing there; a place that is full holds what takes no room all the same
    assert wanted(site(known=[(6, 5)], free=0, product=replace(KIT, space=0))) == 5
    assert wanted(site(known=[(6, 5)], free=0)) == 0


def test_the_most_urgent_site_is_served_first() -> None:
    # South's order would be here on day 4 and warm on day 5: its booking on day 3 has only this way
    inputs = {"East": site([(10, 2)]), "West": site(known=[(8, 3)]), "South": site(known=[(3, 2)])}
    assert moved(inputs) == [("East", "South", 10, 2, True)]
    # else the one that needs most
    inputs["South"] = site(known=[(8, 2)])
    assert moved(inputs) == [("East", "West", 10, 2, True)]


# --- laws ---

days = st.integers(1, 40)
some = st.integers(1, 8)
sites = st.builds(
    site,
    st.lists(st.tuples(days | st.none(), some), max_size=3),
    st.lists(st.tuples(st.integers(-2, 60).map(lambda n: n / 2), st.integers(1, 3)), max_size=4),
    st.sampled_from([0.0, 0.4, 2.0, 5.0]),
    st.sampled_from([0.0, 0.1, 0.5]),
    free=st.none() | st.integers(-2, 12),
    on_order=st.lists(st.tuples(days, some), max_size=1),
)


def played(inputs, made):
    """The sites after their transfers."""
    after = dict(inputs)
    for t in made:
        after[t.site] = without(after[t.site], t.end, t.pieces)
        after[t.target] = with_more(after[t.target], t.end, t.pieces)
    return after


@settings(max_examples=150, deadline=None)
@given(st.lists(sites, min_size=2, max_size=3), st.sampled_from([KIT, SWAB]), st.randoms(use_true_random=False))
def test_the_laws(given_sites, what, random) -> None:
    inputs = {f"S{i}": replace(x, product=what) for i, x in enumerate(given_sites)}
    lots = movable(inputs)
    made = transfers(inputs, lots)
    # the order in which lots are named does not matter
    random.shuffle(lots)
    assert transfers(inputs, lots) == made
    for m in lots:
        assert sum(t.pieces for t in made if (t.site, t.lot, t.place) == (m.site, m.lot, m.place)) <= m.pieces
    after = played(inputs, made)
    assert sum(n for x in after.values() for _, n in x.lots) == sum(n for x in inputs.values() for _, n in x.lots)
    for name, x in inputs.items():
        need, now = order_line(x).need, order_line(after[name]).need
        given_away = sum(t.pieces for t in made if t.site == name)
        got = sum(t.pieces for t in made if t.target == name)
        assert now <= max(0, need)  # nobody must order more for it
        if given_away:
            # a giver keeps a bad case until the first of what it gave ends
            kept = sum(n for _, n in after[name].lots)
            ready = x.arrives_at + x.product.warmup_seconds
            ends = [ready if t.end is None else min(t.end, ready) for t in made if t.site == name]
            assert kept >= min(bad_case(x, until) for until in ends)
        if got:
            assert got <= need
            assert got <= wanted(x)
            if x.free_space is not None:
                assert got * x.product.space <= x.free_space
            assert now >= 0 or given_away
    for t in made:
        assert t.pieces > 0 and t.site != t.target
        assert t.end is None or t.end > x.product.warmup_seconds
    # what expires is saved: all together less will be thrown away, by what went for that reason
    # (what comes is there once it is warm, after the bookings that nothing can reach any more)
    saved = sum(t.pieces for t in made if t.expiring)
    before = then = 0.0
    for name, x in inputs.items():
        came = [(x.product.warmup_seconds, t.end, t.pieces) for t in made if t.target == name]
        reached = _reached(x) if came else x
        before += sum(left(reached))
        stays = replace(x, known=reached.known)
        for t in made:
            stays = without(stays, t.end, t.pieces) if t.site == name else stays
        then += sum(left(stays, *came))
    assert then <= before - saved + 1e-4


def _reached(x):
    """A site's bookings, without those that begin before a kit could be warm and for which it has none of its own."""
    own, known = sum(n for _, n in x.lots), []
    for at, n in sorted(x.known):
        n = n if at >= x.product.warmup_seconds else min(n, own)
        own -= n
        known += [(at, n)] if n else []
    return replace(x, known=tuple(known))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(2, 12), st.integers(1, 2)), min_size=1, max_size=3), st.data())
def test_as_much_is_saved_as_can_be(lots, data) -> None:
    """Against every way to share out the lots of a site that uses none of them, between two that have bookings."""
    known = st.lists(st.tuples(st.integers(2, 13), st.integers(1, 2)), max_size=2)
    west, south = data.draw(known), data.draw(known)
    inputs = {"East": site(lots), "West": site(known=west), "South": site(known=south)}
    made = transfers(inputs, movable(inputs))
    best = 0
    for shares in every(*(range(n + 1) for _, n in lots for _ in range(2))):
        pairs = list(zip(shares[::2], shares[1::2], strict=True))
        if any(a + b > n for (a, b), (_, n) in zip(pairs, lots, strict=True)) or sum(shares) <= best:
            continue
        if _usable(west, [(d, a) for (a, _), (d, _) in zip(pairs, lots, strict=True)]) and _usable(
            south, [(d, b) for (_, b), (d, _) in zip(pairs, lots, strict=True)]
        ):
            best = sum(shares)
    assert sum(t.pieces for t in made) == best


def _usable(known, lots) -> bool:
    """Whether every piece can serve a booking of its own that begins before it ends: Hall's condition on nested sets."""
    return all(
        sum(n for d, n in lots if d <= end) <= sum(n for at, n in known if at < end) for end in {d for d, _ in lots}
    ) and sum(n for _, n in lots) <= sum(n for _, n in known)


def test_fits_is_refused_where_it_would_only_move_the_waste() -> None:
    # West uses one a week: of 3 more that end on day 10 it would use 1 by day 8 (10 days at 1/7: 1.43)
    west = site(mean=2.0, rate=1 / 7)
    assert [fits(west, 10 * DAY, n) for n in (1, 2)] == [True, False]
    assert fits(west, None, 50)
