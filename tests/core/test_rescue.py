"""Which bookings could move to a kit that no booking uses: by what the plan says once they have."""

from dataclasses import replace
from datetime import date

from diary_cases import CK, HOUR, PLACE, kit, moment, need, opening, practice, stock
from hypothesis import given, settings
from hypothesis import strategies as st
from move_cases import GEL, QUARTER, Case, cases, served

from stockroom.core.allotment import allotments
from stockroom.core.moves import LEAD
from stockroom.core.opening import Opening
from stockroom.core.practice import Practice
from stockroom.core.rescue import MOST_NAMED, Rescue, rescued
from stockroom.core.takeout import FridgeStock, Kit
from stockroom.core.warmup import Need, Unused, plan, wasted


def unused(
    needs: list[Need], kits: list[Kit], fridge: list[FridgeStock], rules: Practice, place: Opening, now: int
) -> list[Unused]:
    openings = {"": place}
    rows = plan(needs, kits, fridge, rules, openings, now)

    def again(those, only):
        return allotments(those, kits, fridge, rules, openings, now, only=only)

    found = wasted(rows, kits, rules, now)
    return rescued(found, Rescue(rows, needs, kits, again, now), rules.products, openings)


def has(case: Case, starts: dict[int, int], booking: int) -> set[int]:
    """The P-numbers of the kits out that a booking has after a move."""
    found: set[int] = set()
    for one in case.again(case.moved(starts)):
        mine = (one.source(i) for i, n in enumerate(one.needs) if n.booking == booking)
        found |= {source.pull for source in mine if isinstance(source, Kit)}
    return found


@st.composite
def vain(draw) -> Case:
    """Kits that are warm for a day or two, and bookings around and after that, in a week with a clock change."""
    place = opening(draw(st.sampled_from(["Europe/Amsterdam", "America/Santiago", "UTC"])))
    rules = practice(CK, GEL, margin=draw(st.sampled_from([0, 15])), rounds=draw(st.sampled_from([(), (525, 990)])))
    now = place.midnight(date(2026, 3, 31)) + draw(st.integers(32, 72)) * QUARTER
    ago = st.integers(0, 60 * 4)
    kits = [
        kit(
            n, "2026-03-01T00:00", pulled_at=now - draw(ago) * QUARTER,
            expiry_end=now + draw(st.integers(1, 5)) * 86_400, promised_to=draw(st.none() | st.integers(0, 5)),
        )
        for n in range(draw(st.integers(1, 3)))
    ]  # fmt: skip
    needs: list[Need] = []
    for n in range(draw(st.integers(1, 5))):
        start = place.midnight(place.day(now)) + draw(st.integers(0, 5)) * 86_400 + draw(st.integers(34, 62)) * QUARTER
        for product in draw(st.sampled_from([("CK",), ("CK",), ("CK",), ("CK", "CK"), ("CK", "GEL")])):
            needs += [Need(n, start, start + 1800, "p", product, "")] if start > now else []
    fridge = [
        stock(n, product=p, lot=i, lot_code=f"L{i}", expiry_end=now + draw(st.integers(2, 9)) * 86_400)
        for i, (p, n) in enumerate(zip(["CK", "CK", "GEL"], draw(st.tuples(*[st.integers(0, 2)] * 3)), strict=True))
    ]
    return Case(place, rules, needs, kits, fridge, now)


@given(cases() | vain(), st.integers(0, LEAD))
@settings(max_examples=250, deadline=None)
def test_each_move_that_is_named_serves_with_that_kit_and_harms_nobody(case, later):
    """Law: made by itself, within ten minutes, the booking has all its kits, that one among them, and no other has fewer."""
    if any(n.start <= case.now + later for n in case.needs):
        later = 0  # one that begins meanwhile keeps its kits, and has no row any more
    for u in unused(case.needs, case.kits, case.fridge, case.rules, case.place, case.now):
        assert u.over == (u.moves is None) and len(u.moves or ()) <= MOST_NAMED
        for booking, start in u.moves or ():
            length = next(n.end - n.start for n in case.needs if n.booking == booking)
            assert case.place.spans(start, start + length) == [(start, start + length)]
            assert start >= case.now + LEAD
            before, after = (
                served(case.again(case.needs, later)),
                served(case.again(case.moved({booking: start}), later)),
            )
            wanted = [n.booking for n in case.needs]
            assert after[booking] == wanted.count(booking)
            assert all(after[b] >= before[b] for b in wanted if b != booking)
            assert u.kit.pull in has(case, {booking: start}, booking)


def moves(needs: list[Need], kits: list[Kit], fridge: list[FridgeStock], now: str, **setting) -> list[tuple[int, int]]:
    """Those of the first kit that no booking uses."""
    product = setting.pop("product", CK)
    first, *_ = unused(needs, kits, fridge, practice(product, GEL, **setting), PLACE, moment(now))
    return list(first.moves or ())


# Derived throughout: 24 h to warm, 72 h out at most, 105 minutes, Monday to Thursday 08:30 to 17:30, Friday to 16:00.

TUESDAY = "2026-03-03T08:30"
OUT = kit(1, "2026-03-02T09:10")
"""Warm from Tuesday 09:10 until Thursday 09:10."""


def test_later_ones_move_to_the_last_quarter_at_which_it_is_good_and_earlier_ones_to_the_first_at_which_it_is_warm():
    """It must be over by Thursday 09:10, which from 08:30 on it cannot be: so Wednesday 15:45, over at 17:30."""
    late = need("2026-03-06T10:00", 1)
    assert moves([late], [OUT], [stock()], TUESDAY) == [(1, moment("2026-03-04T15:45"))]
    early = need("2026-03-03T08:45", 2)
    assert moves([early], [OUT], [], TUESDAY) == [(2, moment("2026-03-03T09:15"))]


def test_the_nearest_three_in_their_order():
    needs = [need(f"2026-03-{day:02}T10:00", day) for day in (13, 9, 12, 10, 6)]
    assert [b for b, _ in moves(needs, [OUT], [stock(9)], TUESDAY)] == [6, 9, 10]


def test_not_one_for_which_a_kit_is_out_nor_one_to_which_another_is_promised():
    served_by_another = need("2026-03-05T10:00", 1)
    promised_another = need("2026-03-06T10:00", 2)
    last = need("2026-03-09T10:00", 3)
    kits = [OUT, kit(2, "2026-03-03T08:00"), kit(3, "2026-03-03T08:20", promised_to=2)]
    found = unused([served_by_another, promised_another, last], kits, [stock(9)], practice(), PLACE, moment(TUESDAY))
    assert {u.kit.pull: [b for b, _ in u.moves or ()] for u in found} == {1: [3], 3: [2, 3]}


def test_its_own_booking_may_come_back_to_it():
    """P-1 is promised to B-1, which has moved to Friday."""
    assert moves([need("2026-03-06T10:00", 1)], [replace(OUT, promised_to=1)], [stock()], TUESDAY) == [
        (1, moment("2026-03-04T15:45"))
    ]


def test_not_where_its_other_kit_could_not_be_warm():
    """GEL takes 30 h: taken out on Tuesday 08:45 at the earliest, it is warm on Wednesday 14:45; 15:45 serves. With a
    booking that ends when P-1 still is good on Wednesday at noon only, none does."""
    both = [need("2026-03-06T10:00", 1), need("2026-03-06T10:00", 1, product="GEL")]
    fridge = [stock(), stock(product="GEL", lot=2)]
    assert moves(both, [OUT], fridge, TUESDAY) == [(1, moment("2026-03-04T15:45"))]
    shorter = replace(OUT, expiry_end=moment("2026-03-04T12:00"))
    assert moves(both, [shorter], fridge, TUESDAY) == []
    assert moves(both[:1], [shorter], fridge, TUESDAY) == [(1, moment("2026-03-04T10:15"))]


def test_none_is_sent_to_a_start_within_ten_minutes():
    """Tuesday 09:08, P-1 is warm at 09:10: 09:15 is too soon to be typed and told, 09:30 is not."""
    assert moves([need("2026-03-03T09:09", 1)], [OUT], [], "2026-03-03T09:08") == [(1, moment("2026-03-03T09:30"))]


def test_none_is_looked_for_where_its_time_is_over():
    old = kit(1, "2026-02-27T09:00")
    (only,) = unused([need("2026-03-06T10:00", 1)], [old], [stock()], practice(), PLACE, moment(TUESDAY))
    assert (only.over, only.moves) == (True, None)


def test_a_kit_of_which_nobody_knows_how_long_it_may_be_out_serves_from_when_it_is_warm():
    ask = replace(CK, max_out_seconds=None)
    early = need("2026-03-03T08:45", 1)
    assert moves([early], [OUT], [], TUESDAY, product=ask) == [(1, moment("2026-03-03T09:15"))]


def test_a_very_large_diary_is_not_planned_anew_for_every_kit():
    """Eight thousand bookings: to look at them once and plan once anew are more looks than there are."""
    needs = [need(moment("2026-03-09T10:00") + n * HOUR, n) for n in range(8000)]
    (only,) = unused(needs, [OUT], [stock(8000, "2030-01-01T00:00")], practice(), PLACE, moment(TUESDAY))
    assert (only.over, only.moves) == (False, None)
