"""What a procedure uses."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.practice import Procedure, Product, Use
from stockroom.core.usage import used_by
from stockroom.errors import Refused


def product(code: str, contains: tuple[tuple[str, int], ...] = ()) -> Product:
    return Product(code=code, name=code, kind="kit" if contains else "supply", supplier="S", contains=contains)


def procedure(*uses: Use, cycles: int = 6) -> Procedure:
    return Procedure(code="whitening", minutes=45, minutes_per_cycle=10, cycles=cycles, max_cycles=8, uses=uses)


SWAB = Use("SWAB", per_cycles=2, spare=1)
KIT = Use("CK", each=1)


@pytest.mark.parametrize(("cycles", "swabs"), [(6, 4), (7, 5), (8, 5), (None, 4), (1, 2)])
def test_one_swab_for_every_two_cycles_and_one_spare(cycles, swabs):
    # common practice, no source: six cycles as a rule, sometimes one or two more; ceil(1 / 2) + 1 = 2 derived
    used = used_by(procedure(SWAB), cycles, {"SWAB": product("SWAB")})
    assert used.gross == {"SWAB": swabs}
    assert used.loose == {"SWAB": swabs}


@pytest.mark.parametrize(("cycles", "loose"), [(6, 0), (7, 1), (8, 1)])
def test_what_the_kit_contains_goes_first(cycles, loose):
    # common practice, no source: with 4 swabs inside, six cycles take none from the cupboard, eight take one
    products = {"CK": product("CK", (("SWAB", 4),)), "SWAB": product("SWAB")}
    used = used_by(procedure(KIT, SWAB), cycles, products)
    assert used.gross["CK"] == used.loose["CK"] == 1
    assert used.loose.get("SWAB", 0) == loose
    assert "SWAB" in used.gross


def test_the_contents_of_each_kit_count():
    # derived: two kits hold 2 x 4 = 8 swabs, 7 cycles use 3 + ceil(7 / 2) + 1 + 1 (a second rule) = 9
    products = {"CK": product("CK", (("SWAB", 4), ("TRAY", 1)))}
    used = used_by(
        procedure(Use("CK", each=2), Use("SWAB", each=3, per_cycles=2, spare=1), Use("SWAB", each=1)),
        7,
        products,
    )
    assert used.gross == {"CK": 2, "SWAB": 9}
    assert used.loose == {"CK": 2, "SWAB": 1}


def test_without_cycles_what_is_counted_by_cycles_has_no_spare():
    # derived: ceil(0 / 2) = 0, and a spare is a spare of something; each = 1 keeps its spare
    used = used_by(procedure(SWAB, KIT, Use("CUP", each=1, per_cycles=3, spare=1)), 0, {})
    assert used.gross == {"CK": 1, "CUP": 2}


def test_fewer_than_no_cycles_are_refused():
    with pytest.raises(Refused, match="-1 cycles of whitening"):
        used_by(procedure(SWAB), -1, {})


@pytest.mark.parametrize(("per_cycle", "minutes"), [(10, 60), (8, 48)])
def test_how_long_six_cycles_take(per_cycle, minutes):
    # common practice, no source: cycles of 10 minutes, or 8 with a lamp
    assert Procedure("p", minutes=0, minutes_per_cycle=per_cycle, cycles=6).seconds() == 60 * minutes


@given(st.integers(0, 12), st.integers(1, 4), st.integers(0, 3), st.integers(0, 3), st.integers(0, 9))
def test_gross_is_loose_plus_what_was_inside(cycles, per_cycles, each, spare, inside):
    products = {"CK": product("CK", (("SWAB", inside),))}
    used = used_by(procedure(KIT, Use("SWAB", each=each, per_cycles=per_cycles, spare=spare)), cycles, products)
    gross, loose = used.gross.get("SWAB", 0), used.loose.get("SWAB", 0)
    assert gross - loose == min(gross, inside)
    more = used_by(procedure(KIT, Use("SWAB", each=each, per_cycles=per_cycles, spare=spare)), cycles + 1, products)
    assert more.gross.get("SWAB", 0) >= gross
