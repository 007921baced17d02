"""To which start a booking could move: against a plan made anew for every quarter of an hour."""

from dataclasses import replace
from datetime import date, datetime

from diary_cases import CK, HOUR, kit, moment, need, opening, row, rows, stock
from hypothesis import given, settings
from hypothesis import strategies as st
from move_cases import GEL, QUARTER, Case, cases, whole

from stockroom.core.moves import LEAD
from stockroom.core.opening import DayException
from stockroom.core.warmup import plan


def staffed_starts(case: Case, seconds: int, days: int) -> list[int]:
    spans = case.place.spans(case.now, case.now + (days + 1) * 86_400)
    every = range(case.now, case.now + days * 86_400, QUARTER)
    return [s for s in every if any(a <= s and s + seconds <= b for a, b in spans)]


@given(cases())
@settings(max_examples=40, deadline=None)
def test_earliest_against_a_plan_for_every_quarter_of_an_hour(case):
    """Brute force over three days: the first staffed start at which the booking has all its kits and nobody fewer."""
    moves = case.moves()
    for booking in {n.booking for n in case.needs}:
        found = moves.earliest(booking, "", 1800)
        good = (s for s in staffed_starts(case, 1800, 3) if whole(case, {booking: s}))
        first = next(good, None)
        # To the second it may lie after a use-by, and then not on a quarter of an hour.
        quarter = None if found is None else -(-found // QUARTER) * QUARTER
        assert quarter == first or (first is None and found >= case.now + 3 * 86_400), booking


@given(cases(), st.integers(0, LEAD))
@settings(max_examples=100, deadline=None)
def test_every_move_that_is_proposed_helps_when_all_are_made_within_ten_minutes(case, later):
    """Law: after the moves that the rows name, all at once, the bookings moved are served and no other has fewer kits."""
    starts: dict[int, int] = {}
    for r in plan(case.needs, case.kits, case.fridge, case.rules, {"": case.place}, case.now):
        for todo in r.todos:
            if todo.startswith("booking move"):
                _, _, booking, _, text = todo.split()
                local = datetime.fromisoformat(text)
                at = case.place.at(local.date(), local.hour * 60 + local.minute) if local.tzinfo is None else local
                starts[int(booking[2:])] = at if isinstance(at, int) else int(at.timestamp())
    if any(n.start <= case.now + later for n in case.needs):
        later = 0  # one that begins meanwhile keeps its kits, and has no row any more
    for start in starts.values():
        assert case.place.spans(start, start + 1800) == [(start, start + 1800)]
        assert start % 60 == 0
    assert whole(case, starts, later)


# What it says in a row. Derived throughout: 24 h to warm, 72 h out at most, 105 minutes, Monday 15:00 now.

NOW = "2026-03-02T15:00"
OUT_AT_NOON = kit(1, "2026-03-02T12:00")
"""Warm on Tuesday 12:00."""


def test_a_kit_that_another_booking_can_do_without_makes_an_earlier_start():
    """Wednesday has P-1, but one from the fridge would do for it; that one could not be warm before Tuesday 15:00."""
    late, other = rows([need("2026-03-03T10:00", 1), need("2026-03-04T14:00", 2)], NOW, [OUT_AT_NOON], [stock()])
    assert (late.state, late.earliest_start) == ("late", moment("2026-03-03T12:00"))
    assert late.todo == "booking move B-1 --start 2026-03-03T12:00"  # nothing has to be taken out: no ten minutes
    assert (other.state, other.pull) == ("warming", 1)


def test_a_booking_of_two_kits_moves_to_when_both_are_warm():
    """P-1 on Tuesday 12:00, the other one, taken out within ten minutes, on Tuesday 15:10."""
    two = rows([need("2026-03-03T10:00")] * 2, NOW, [OUT_AT_NOON], [stock()])
    assert [(r.state, r.earliest_start, r.todos) for r in two] == [
        ("late", moment("2026-03-03T15:00"), ["booking move B-7 --start 2026-03-03T15:10"])
    ] * 2


def test_one_of_two_kits_that_is_missing_is_short_and_nobody_is_sent_to_move_the_booking():
    two = rows([need("2026-03-03T10:00"), need("2026-03-03T10:00", product="GEL")], NOW, [OUT_AT_NOON], products=[GEL])
    kit_row, gel_row = sorted(two, key=lambda r: r.product)
    assert (gel_row.product, gel_row.state, gel_row.todo) == ("GEL", "short", "reorder list")
    assert (kit_row.state, kit_row.earliest_start) == ("late", moment("2026-03-03T12:00"))
    assert kit_row.todos == ["warmup when whitening"]
    assert "this kit by itself could serve from Tue 3 Mar 12:00 on" in kit_row.why


def test_two_bookings_are_not_sent_to_the_same_kit():
    first, second = rows([need("2026-03-03T10:00", 1), need("2026-03-03T11:00", 2)], NOW, [OUT_AT_NOON], [stock()])
    assert first.todo == "booking move B-1 --start 2026-03-03T12:00"
    assert second.todo == "booking move B-2 --start 2026-03-03T15:10"
    third = rows([need(f"2026-03-03T1{n}:00", n) for n in range(2)], NOW, [OUT_AT_NOON])[1]
    assert (third.state, third.earliest_start) == ("short", None)


def test_a_later_round_of_the_day_is_found_where_the_first_is_too_early():
    """Derived, at most 26 h out, rounds 09:00 and 15:00: a kit serves from 24 h after a round to 15 minutes later.
    Staffed 12:00 to 17:30 on Tuesday: the round of Monday 09:00 would do until 09:15, that of 15:00 from 15:00 on."""
    tuesday = DayException(date(2026, 3, 3), open=False, from_minute=0, to_minute=720)
    late = row(
        need("2026-03-03T08:00"), "2026-03-02T08:30", fridge=[stock()], place=opening(exceptions=[tuesday]),
        product=replace(CK, max_out_seconds=26 * HOUR), rounds=(540, 900),
    )  # fmt: skip
    assert (late.state, late.earliest_start) == ("late", moment("2026-03-03T15:00"))


def test_a_kit_that_is_promised_to_the_booking_goes_along_with_it():
    """P-1 is promised to B-1, which begins before it is warm, so B-2 has it at Tuesday 16:00. Moved to where P-1 serves
    it, B-1 would have it again and B-2 none: so P-2, warm on Tuesday 14:00, does not make a start for B-1 before P-1
    is of no use to it, which is after Wednesday."""
    kits = [
        kit(1, "2026-03-02T12:00", promised_to=1),
        kit(2, "2026-03-02T14:00", expiry_end=moment("2026-03-03T15:50")),
    ]
    late, other = rows([need("2026-03-03T10:00", 1), need("2026-03-03T15:30", 2)], NOW, kits)
    assert (other.state, other.pull) == ("warming", 1)
    assert (late.state, late.earliest_start, late.todo) == ("short", None, "reorder list")


def test_ten_minutes_also_where_a_kit_that_is_out_is_warm_sooner():
    """P-1 is warm on Tuesday 14:58; the other would have to leave the fridge this minute for 15:00."""
    two = rows([need("2026-03-03T10:00")] * 2, NOW, [kit(1, "2026-03-02T14:58")], [stock()])
    assert [(r.earliest_start, r.todo) for r in two] == [
        (moment("2026-03-03T15:00"), "booking move B-7 --start 2026-03-03T15:10")
    ] * 2
