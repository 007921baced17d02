"""What is recorded in one and the same second counts in the order in which it was recorded."""

from stockroom.core.records import Hold, Movement, Release
from stockroom.core.stock import replay


def test_a_release_holds_for_pieces_that_are_moved_in_the_same_second() -> None:
    # Derived: held in the kit's place, released there by entry 4, put back by entry 5, both at 40.
    moves = [
        Movement(1, 1, 10, 1, 1, "supplier", "F"),
        Movement(2, 2, 20, 1, 1, "F", "P-1"),
        Movement(3, 5, 40, 1, 1, "P-1", "F"),
    ]
    hold, free = Hold(1, 3, 30, 1, "P-1", 1, "R-3"), Release(1, 4, 40, 1, "P-1", 1, ("R-3",))
    state = replay(1, moves, [hold], [free])
    assert (state.quantity("F", held=False), state.quantity("F", held=True)) == (1, 0)
    # The other way round it is the piece in the fridge that is still held: the release named a place it had left.
    late = replay(1, moves, [hold], [Release(1, 6, 40, 1, "P-1", 1, ("R-3",))])
    assert late.quantity("F", held=True) == 1


def test_a_hold_means_the_piece_that_is_moved_in_the_same_second() -> None:
    # Derived: of two pieces the one in the cupboard is held by entry 4, and moved by entry 5 at the same second.
    moves = [
        Movement(1, 1, 10, 1, 1, "supplier", "F"),
        Movement(2, 2, 20, 1, 1, "supplier", "C"),
        Movement(3, 5, 40, 1, 1, "C", "B"),
    ]
    state = replay(1, moves, [Hold(1, 4, 40, 1, "C", 1, "R-4")], [])
    assert (state.quantity("B", held=True), state.quantity("F", held=True)) == (1, 0)
