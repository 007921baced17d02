"""Cycles beyond the plan, and what they do to supplies. Derived throughout: arithmetic in the comments."""

import pytest

from stockroom.core.cycle_spread import PLANNED, deviations, pieces_used
from stockroom.core.practice import Procedure, Product, Use

WHITE = Procedure(
    "white", 45, 10, cycles=6, max_cycles=8, uses=(Use("KIT", each=1), Use("SWAB", per_cycles=2, spare=1))
)
PLAIN = {"KIT": Product("KIT", "", "kit", ""), "SWAB": Product("SWAB", "", "supply", "")}
PACKED = {**PLAIN, "KIT": Product("KIT", "", "kit", "", contains=(("SWAB", 4),))}


def test_too_few_records_say_nothing() -> None:
    assert deviations({0: 5, 2: 2}) == PLANNED
    assert deviations({}) == PLANNED
    assert deviations({0: 6, 2: 2}) == ((0, 0.75), (2, 0.25))


def test_supplies_follow_the_cycles_and_kits_do_not() -> None:
    # 6 cycles take 4 swabs, 7 and 8 take 5, 4 take 3
    spread = deviations({-2: 2, 0: 12, 1: 4, 2: 2})
    found = pieces_used(WHITE, None, spread, PLAIN)
    assert found["KIT"].certain and found["KIT"].each.tolist() == [0, 1]
    assert found["SWAB"].planned == 4
    assert found["SWAB"].each == pytest.approx([0, 0, 0, 0.1, 0.6, 0.3])
    assert found["SWAB"].beyond.mean == pytest.approx(0.3 - 0.1)


def test_what_the_kit_contains_goes_first() -> None:
    # four swabs inside: six cycles take none from the cupboard, 7 and 8 one; fewer none
    found = pieces_used(WHITE, 6, deviations({-3: 4, 0: 10, 2: 6}), PACKED)
    assert found["SWAB"].planned == 0
    assert found["SWAB"].each == pytest.approx([0.7, 0.3])


def test_a_booking_with_cycles_of_its_own_varies_around_them() -> None:
    # 8 planned: 5 swabs; two fewer: 4. Below zero cycles there is nothing
    found = pieces_used(WHITE, 8, deviations({-2: 4, 0: 4}), PLAIN)
    assert (found["SWAB"].planned, found["SWAB"].beyond.mean) == (5, pytest.approx(-0.5))
    none = pieces_used(WHITE, 1, deviations({-6: 8}), PLAIN)
    assert (none["SWAB"].planned, none["SWAB"].beyond.least) == (2, -2)
    assert none["KIT"].each.tolist() == [0, 1]
