"""Codes that stand for a patient, temperatures and quantities as people type them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.patient import not_a_code
from stockroom.core.units import degrees, few, milli_celsius, whole
from stockroom.errors import Refused


@pytest.mark.parametrize("code", ["P-104", "104", "A7", "K1042", "x-2026-03", "P 104", "104 NL", "AB-12 C3", "A1 B2"])
def test_a_code_is_a_code(code: str) -> None:
    assert not_a_code(code, None) is None


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("Berg", "name"),
        ("Anna Berg 2", "name"),
        ("J. Berg 12", "name"),
        ("J Berg1", "name"),
        ("Berg, J. 12", "name"),
        ("Berg J 7", "name"),
        ("a.berg1@made-up.invalid", "e-mail"),
        ("1984-05-06", "birth date"),
        ("6.5.84", "birth date"),
        ("19840506", "birth date"),
        ("060584", "birth date"),
        ("+31 20 555 0100", "telephone"),
        ("0205550100", "telephone"),
        ("", "empty"),
        ("x" * 31, "longer"),
        ("a\x07b1", "printed"),
    ],
)
def test_what_looks_like_a_person_is_refused_with_the_reason(text: str, word: str) -> None:
    assert word in (not_a_code(text, None) or "")


def test_the_practices_own_pattern_decides_where_there_is_one() -> None:
    assert not_a_code("P-12", "P-[0-9]+") is None
    assert not_a_code("Q-12", "P-[0-9]+") is not None


@pytest.mark.parametrize(
    ("text", "milli"),
    [("4.4", 4400), ("4,4", 4400), ("-0.4", -400), ("−0.4", -400), ("4.4 °C", 4400), ("4", 4000), ("+3", 3000)],
)
def test_celsius_as_typed(text: str, milli: int) -> None:
    assert milli_celsius(text) == milli


@pytest.mark.parametrize(("text", "milli"), [("35.6", 2000), ("46.4", 8000), ("46.5", 8056), ("32", 0), ("-4", -20000)])
def test_fahrenheit_is_f_less_32_times_five_ninths(text: str, milli: int) -> None:
    # derived from the definition of the scale; 46.5 °F = 8.0555… °C
    assert milli_celsius(text, fahrenheit=True) == milli
    assert milli_celsius(f"{text} °F") == milli


@pytest.mark.parametrize("text", ["", "four", "nan", "inf", "1e3", "1_0", "٤", "4.4.4", "61", "-61", "400", "--4"])
def test_what_no_fridge_shows_is_refused(text: str) -> None:
    with pytest.raises(Refused):
        milli_celsius(text)


@given(st.integers(-60_000, 60_000))
def test_what_is_printed_reads_back(milli: int) -> None:
    assert milli_celsius(degrees(milli)) == milli


@pytest.mark.parametrize("text", ["0", "-1", "1.5", "two", "1_0", "٣", "9999999", ""])
def test_a_quantity_is_a_whole_number_above_zero(text: str) -> None:
    with pytest.raises(Refused):
        whole(text)


def test_a_list_that_is_long_says_how_many_more() -> None:
    assert few(["a", "b"]) == "a, b"
    assert few(["a", "b", "c", "d", "e", "f"]) == "a, b, c, d and 2 more"
