"""Movements, holds and releases -> what stands where: laws by hypothesis, cases derived by hand."""

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.records import OUTSIDE, Hold, Movement, Release
from stockroom.core.stock import Stay, replay, standing, taken_first, touched

PLACES = ("F1", "F2", "P-1", "Shelf")


def moved(
    key: int, at: int, n: int, source: str, target: str, prefer: str = "free", entry: int | None = None
) -> Movement:
    return Movement(key, key if entry is None else entry, at, 1, n, source, target, prefer)


movements = st.lists(
    st.tuples(
        st.integers(0, 30),
        st.integers(1, 6),
        st.sampled_from((*PLACES, "supplier")),
        st.sampled_from((*PLACES, "used", "discarded")),
    ),
    max_size=25,
).map(lambda rows: [moved(i + 1, at, n, a, b) for i, (at, n, a, b) in enumerate(rows) if a != b])


@given(movements, st.integers(0, 30))
def test_nothing_is_lost_doubled_or_below_zero(rows: list[Movement], until: int) -> None:
    state = replay(1, rows, [], [], until)
    inside = sum(p.quantity for p in state.inside())
    came = sum(m.quantity for m in rows if m.source in OUTSIDE and m.at <= until)
    gone = sum(m.quantity for m in rows if m.target in OUTSIDE and m.at <= until)
    assert came + state.unaccounted == gone + inside
    assert all(p.quantity > 0 for p in state.parcels)
    # On hand by place is the plain sum of movements, and what is below zero is owed.
    for place in PLACES:
        plain = sum(m.quantity * ((m.target == place) - (m.source == place)) for m in rows if m.at <= until)
        assert state.quantity(place) - state.short.get(place, 0) == plain
        assert state.quantity(place) == max(plain, 0) or state.quantity(place) >= max(plain, 0)


@given(movements, st.integers(0, 30), st.integers(0, 30))
def test_what_has_not_happened_yet_changes_nothing(rows: list[Movement], until: int, later: int) -> None:
    seen = [m for m in rows if m.at <= until]
    a, b = replay(1, rows, [], [], until), replay(1, seen, [], [], until + later)
    assert sorted((p.place, p.quantity, p.since) for p in a.parcels) == sorted(
        (p.place, p.quantity, p.since) for p in b.parcels
    )


@given(movements, st.permutations(range(25)))
def test_the_order_of_the_records_does_not_matter(rows: list[Movement], order: list[int]) -> None:
    shuffled = [rows[i] for i in order if i < len(rows)]
    a, b = replay(1, rows, [], []), replay(1, shuffled, [], [])
    assert sorted((p.place, p.quantity) for p in a.parcels) == sorted((p.place, p.quantity) for p in b.parcels)


@given(movements, st.integers(0, 30), st.sampled_from(PLACES), st.integers(1, 8), st.booleans())
def test_a_hold_holds_no_more_than_it_says_and_a_release_frees_it(
    rows: list[Movement], at: int, place: str, n: int, freed: bool
) -> None:
    hold = Hold(1, 1000, at, 1, place, n, "E-1")
    state = replay(1, rows, [hold], [])
    then, there = replay(1, rows, [hold], [], at), replay(1, rows, [], [], at)
    held = sum(p.quantity for p in then.parcels if "E-1" in p.ever)
    assert sum(p.quantity for p in state.parcels if "E-1" in p.ever) <= n
    assert held == min(n, sum(p.quantity for p in there.inside()))
    assert sum(p.quantity for p in state.inside()) == sum(p.quantity for p in replay(1, rows, [], []).inside())
    if freed:
        releases = [
            Release(i, 2000, 99, 1, p.place, p.quantity, ("E-1",)) for i, p in enumerate(state.inside(), 1) if p.held
        ]
        assert not any(p.held for p in replay(1, rows, [hold], releases).inside())


def test_held_pieces_stay_held_wherever_they_go() -> None:
    rows = [moved(1, 0, 5, "supplier", "F1"), moved(2, 20, 2, "F1", "F2", "held"), moved(3, 30, 1, "F1", "P-1")]
    state = replay(1, rows, [Hold(1, 2, 10, 1, "F1", 5, "E-1")], [])
    assert {(p.place, p.quantity, p.held) for p in state.inside()} == {
        ("F1", 2, True),
        ("F2", 2, True),
        ("P-1", 1, True),
    }


def test_only_what_was_known_steers_which_piece_was_taken() -> None:
    # Two old pieces that an excursion touched, two that came after it; one is taken out at 30.
    rows = [moved(1, 0, 2, "supplier", "F1"), moved(2, 20, 2, "supplier", "F1"), moved(5, 30, 1, "F1", "P-1")]
    known = replay(1, rows, [Hold(1, 3, 5, 1, "F1", 2, "E-1")], [])  # held by entry 3, before the pull (entry 5)
    assert [p.held for p in known.at("P-1")] == [False]
    late = replay(1, rows, [Hold(1, 9, 5, 1, "F1", 2, "E-1")], [])  # found afterwards: the oldest had been taken
    assert [p.held for p in late.at("P-1")] == [True]


def test_touched_is_told_to_the_second() -> None:
    rows = [
        moved(1, 0, 1, "supplier", "F1"),  # left as it began
        moved(2, 10, 1, "F1", "F2"),
        moved(3, 5, 2, "supplier", "F1"),  # left a second later, and stayed
        moved(4, 11, 1, "F1", "F2"),
        moved(5, 20, 1, "supplier", "F1"),  # came as it ended
        moved(6, 21, 1, "supplier", "F1"),  # came after it
    ]
    state = replay(1, rows, [], [])
    assert [(t.at, t.quantity) for t in touched(state, "F1", 10, 20, frozenset({"E-1"}))] == [(10, 2), (20, 1)]


def test_a_hold_whose_beginning_moved_holds_the_same_pieces() -> None:
    rows = [moved(1, 0, 3, "supplier", "F1"), moved(2, 0, 2, "supplier", "F2")]
    holds = [Hold(1, 3, 30, 1, "F1", 3, "E-1"), Hold(2, 4, 10, 1, "F1", 3, "E-1")]
    state = replay(1, rows, holds, [])
    assert {(p.place, p.quantity, p.held) for p in state.inside()} == {("F1", 3, True), ("F2", 2, False)}
    assert {p.ever["E-1"] for p in state.at("F1")} == {10}


def test_a_kit_that_was_put_back_is_told_from_those_that_never_left() -> None:
    rows = [
        moved(1, 0, 2, "supplier", "F1"),
        moved(2, 5, 1, "F1", "P-1"),
        moved(3, 9, 1, "P-1", "F1"),
        moved(4, 20, 1, "F1", "P-2", "P-1"),
    ]
    state = replay(1, rows, [], [])
    assert [s.place for s in state.at("P-2")[0].stays] == ["F1", "P-1", "F1"]
    assert state.at("F1")[0].stays == () and state.at("F1")[0].kit is None


def test_a_row_for_each_place_and_state_and_quarantined_outranks_expired() -> None:
    rows = [moved(1, 0, 3, "supplier", "F1"), moved(2, 0, 1, "supplier", "F2")]
    state = replay(1, rows, [Hold(1, 3, 1, 1, "F1", 1, "R-9")], [])
    fresh = [(r.place, r.quantity, r.state, r.causes) for r in standing(state, date(2026, 5, 1), date(2026, 5, 1))]
    assert fresh == [("F1", 1, "quarantined", ("R-9",)), ("F1", 2, "usable", ()), ("F2", 1, "usable", ())]
    old = [(r.place, r.quantity, r.state) for r in standing(state, date(2026, 5, 1), date(2026, 5, 2))]
    assert old == [("F1", 2, "expired"), ("F1", 1, "quarantined"), ("F2", 1, "expired")]


def test_first_expired_first_out() -> None:
    rows = [(date(2027, 1, 1), "B", 2), (None, "A", 9), (date(2026, 6, 1), "C", 1)]
    assert taken_first(rows, 4) == [(2, 1), (0, 2), (1, 1)]
    assert taken_first(rows, 50) == [(2, 1), (0, 2), (1, 9)]


def test_a_path_tells_every_stay() -> None:
    rows = [moved(1, 0, 1, "supplier", "F1"), moved(2, 7, 1, "F1", "P-1"), moved(3, 9, 1, "P-1", "used")]
    assert replay(1, rows, [], []).at("used")[0].path() == (Stay("F1", 0, 7), Stay("P-1", 7, 9))
