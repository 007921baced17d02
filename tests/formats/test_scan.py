"""Barcodes: worked cases, every date form, what is wrong with which field, lost separators, the two halves of a label."""

import calendar
from datetime import date, timedelta

import pytest
from biip.gs1_messages import GS1Message
from freezegun import freeze_time
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stockroom.errors import Refused
from stockroom.formats.hibc_code import SIGNS, check_sign
from stockroom.formats.scan import joined, one_box, scanned
from stockroom.formats.scanned_code import check_digit, full_year

TODAY = date(2026, 11, 25)
GTIN = "09520123456788"


def sealed(text: str) -> str:
    """An HIBC code with its check sign."""
    return text + check_sign(text)


# Published: GS1 General Specifications, figure of an element string in the demonstration range 952 (from memory).
def test_element_string_of_the_demonstration_range():
    found = scanned("010952012345678817201225310300019539220299", TODAY)
    assert (found.item, found.expiry, found.lot) == (GTIN, date(2020, 12, 25), None)


# Published: examples of the HIBC supplier labelling standard and of a public unit test of it (from memory).
def test_hibc_examples():
    found = scanned("+A99912345/$$52001510X33", TODAY)
    assert (found.item, found.expiry, found.lot) == ("A99912345", date(2020, 1, 15), "10X3")
    found = scanned("+J014652230580/$$3220909K010025/16D20200311Z", TODAY)
    assert (found.item, found.expiry, found.lot, found.made_on) == (
        "J014652230580", date(2022, 9, 9), "K010025", date(2020, 3, 11),
    )  # fmt: skip


def test_hibc_month_51_is_refused_by_its_field():
    with pytest.raises(Refused, match='expiry "510217"'):
        scanned("+$$25102173960231W", TODAY)


@pytest.mark.parametrize("prefix", ["]C1", "]e0", "]d2", "]Q3", "]J1", ""])
def test_symbology_prefixes(prefix):
    found = scanned(f"{prefix}01{GTIN}10aB-1\x1d172712312199\r\n", TODAY)
    assert (found.item, found.lot, found.expiry, found.serial) == (GTIN, "aB-1", date(2027, 12, 31), "99")


@pytest.mark.parametrize("mark", ["\x1d", "|", "~", "^]", "<GS>", "{GS}", "\u241d"])
def test_what_scanners_type_for_the_separator(mark):
    assert scanned(f"01{GTIN}10AB{mark}17271231", TODAY) == scanned(f"01{GTIN}10AB\x1d17271231", TODAY)


def test_all_used_fields_and_others_read_over():
    found = scanned(
        f"00123456789012345675 01{GTIN}".replace(" ", "") + "11260101152712151727123130007\x1d240X\x1d10L", TODAY
    )
    assert (found.made_on, found.expiry, found.quantity, found.lot) == (date(2026, 1, 1), date(2027, 12, 31), 7, "L")


def test_best_before_counts_where_there_is_no_expiry_and_is_said():
    found = scanned(f"01{GTIN}15271215", TODAY)
    assert found.expiry == date(2027, 12, 15)
    assert [f.slug for f in found.findings] == ["best-before"]


def test_day_00_is_the_last_of_the_month_and_is_said():
    found = scanned(f"01{GTIN}17280200", TODAY)
    assert found.expiry == date(2028, 2, 29)
    assert [f.slug for f in found.findings] == ["no-day-in-code"]


def test_bare_digits_are_an_item_where_their_check_digit_is_right_and_fields_otherwise():
    assert scanned("17000109", TODAY).item == "00000017000109"
    assert scanned("]C117000109", TODAY).expiry == date(2000, 1, 9)
    assert scanned("17270108", TODAY).expiry == date(2027, 1, 8)
    assert scanned(f"]E0{GTIN[1:]}", TODAY).item == GTIN


def test_a_misread_number_of_a_case_is_no_lot():
    # Derived: with its check digit 9, 10952012345679 is a GTIN of 14 digits; numbers of cases begin with 1, often with 10.
    assert scanned("10952012345679", TODAY).item == "10952012345679"
    with pytest.raises(Refused, match="last digit should be 9"):
        scanned("10952012345670", TODAY)


def test_a_prefix_of_bare_numbers_leaves_no_other_reading():
    # Published: ISO/IEC 15424, ]E for EAN and UPC, ]I for interleaved 2 of 5 (from memory).
    for text in ("]E417270108", "]I117271231101230"):
        with pytest.raises(Refused, match="last digit should be"):
            scanned(text, TODAY)
    assert scanned("17271231101230", TODAY).lot == "1230"


def test_bracketed_text():
    found = scanned(f"(01) {GTIN} (17) 271231 (10) A(99)B", TODAY)
    # (99) is an identifier, so the lot ends before it: brackets inside a value cannot be told from fields.
    assert (found.lot, found.expiry) == ("A", date(2027, 12, 31))


def test_digital_links():
    text = f"https://example.com/some/path/01/{GTIN}/10/A%2FB/21/7?17=271231&linkType=all"
    found = scanned(text, TODAY)
    assert (found.item, found.lot, found.serial, found.expiry) == (GTIN, "A/B", "7", date(2027, 12, 31))
    for path in ("", "01//10/A", "01/17/10/A", "01/shop/10/A", f"01/{GTIN}/10/"):
        with pytest.raises(Refused, match="names no trade item"):
            scanned(f"https://example.com/{path}", TODAY)


@pytest.mark.parametrize("before", ["", "01/", "gtin/", "01/shop/", "10/A/", "01/17/"])
def test_any_address_may_stand_before_the_item_of_a_digital_link(before):
    found = scanned(f"https://example.com/{before}01/{GTIN[1:]}/10/01/21/5", TODAY)
    assert (found.item, found.lot, found.serial) == (GTIN, "01", "5")


def test_signs_of_a_digital_link_that_stand_for_themselves_or_part_fields():
    # Published: RFC 3986, a plus is a plus (a blank only in forms); GS1 Digital Link Standard, ";" as "&" (from memory).
    assert scanned(f"https://example.com/01/{GTIN}?10=A+B", TODAY).lot == "A+B"
    found = scanned(f"https://example.com/01/{GTIN}?10=AB;17=271231", TODAY)
    assert (found.lot, found.expiry) == ("AB", date(2027, 12, 31))
    assert scanned(f"https://example.com/01/{GTIN}?10=A%3BB", TODAY).lot == "A;B"


def test_a_digital_link_can_lose_no_separator():
    found = scanned(f"https://example.com/01/{GTIN}/10/ABC17271231", TODAY)
    assert (found.lot, found.suspect, found.findings) == ("ABC17271231", None, ())


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("0109520123456789", "last digit should be 8"),
        ("09520123456789", "last digit should be 8"),
        (f"01{GTIN}17271331", r"expiry \(17\) \"271331\""),
        (f"01{GTIN}17270230", "there is no such day"),
        (f"01{GTIN}1727", r"expiry \(17\)"),
        (f"01{GTIN[:9]}", "14 digits"),
        (f"01{GTIN}10", r"lot \(10\)"),
        (f"01{GTIN}300", r"count \(30\)"),
        (f"01{GTIN}10A\x1d10B", "twice"),
        (f"(01){GTIN}(17)2712", r"expiry \(17\)"),
        (f"(01){GTIN}(30)(17)271231", r"count \(30\)"),
        (f"https://example.com/01/{GTIN}?37=&17=271231", r"count \(37\)"),
        (f"(01){GTIN}(10)A(05)B", '"05"'),
        (f"01{GTIN}10LOT000000000001240XXXXX17271231", "up to 20 signs"),
        ("0", "no field of a GS1 code"),
        ("", "nothing was scanned"),
        ("+", "check sign|nothing"),
        ("+A99912345/$$52001510X34", 'should be "3"'),
        ("+a99912345", "capitals key"),
        (sealed("+A9/1"), "item"),
        (sealed("+$$3271331LOT1"), "expiry"),
        (sealed("+$$5270000LOT1"), "expiry"),
        (sealed("+$$52736610X1"), "no day 366"),
        (sealed("+$$427123124LOT1"), "hour"),
        (sealed("+$$LOT1"), "date sign"),
        (sealed("+$$800271231L1"), "zero"),
        (sealed("+A99912345/$$7L/16D20261301"), "date|expiry"),
        (sealed("+A99912345/$$+3271231S1/SS2"), "serial number .* the other is S1"),
        (sealed("+A99912345/$$3271231L/S1/S2"), "serial number .* the other is 1"),
        ("x" * 500, "no barcode"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_the_field(text, field):
    with pytest.raises(Refused, match=field):
        scanned(text, TODAY)


def test_a_lost_separator_is_suspected_and_shown():
    found = scanned(f"01{GTIN}10ABC12317271231", TODAY)
    assert found.suspect and (found.suspect.lot, found.suspect.expiry) == ("ABC123", date(2027, 12, 31))
    assert 'lot "ABC123", expiry "2027-12-31"' in found.findings[0].what
    deep = scanned(f"01{GTIN}10ABC1231727123121S9", TODAY)
    assert deep.suspect and (deep.suspect.lot, deep.suspect.expiry) == ("ABC123", date(2027, 12, 31))


def test_what_stands_behind_a_lost_separator_belongs_to_the_other_reading():
    other = scanned(f"01{GTIN}10ABC1231727120011260102307", TODAY).suspect
    assert other is not None and (other.lot, other.quantity, other.made_on) == ("ABC123", 7, date(2026, 1, 2))
    assert (other.expiry, other.expiry_is, other.item) == (date(2027, 12, 31), "month", GTIN)


def test_another_barcode_of_the_box_says_which_reading_is_right():
    doubtful = scanned(f"01{GTIN}10ABC12317271231", TODAY)
    for text, lot in (("10ABC123", "ABC123"), ("10ABC12317271231\x1d17280630", "ABC12317271231")):
        for whole in (
            one_box([doubtful, scanned("]C1" + text, TODAY)]),
            one_box([scanned("]C1" + text, TODAY), doubtful]),
        ):
            assert (whole.lot, whole.suspect) == (lot, None)
            assert not whole.findings or lot == "ABC123"
    both = one_box([doubtful, scanned("]C1305", TODAY)])
    assert both.suspect and (both.quantity, both.suspect.lot, both.suspect.quantity) == (5, "ABC123", 5)
    with pytest.raises(Refused, match="says lot"):
        one_box([doubtful, scanned("]C110OTHER", TODAY)])


def test_a_lot_that_only_looks_a_little_like_a_date_is_left_alone():
    for lot in ("17AB", "X17991332", "ABC123", "3C001", "3c001"):
        assert scanned(f"01{GTIN}17271231" + f"10{lot}", TODAY).findings == ()
    # With an expiry already read, another one at the lot's end is no lost field but a lot.
    assert scanned(f"01{GTIN}1727123110AB17271231", TODAY).findings == ()


def test_the_century_by_the_published_window():
    # GS1 General Specifications: 51 to 99 years ahead is the century before, 50 to 99 behind the next one.
    assert [full_year(y, date(2026, 1, 1)) for y in (26, 76, 77, 99, 0)] == [2026, 2076, 1977, 1999, 2000]
    assert [full_year(y, date(2080, 1, 1)) for y in (30, 31, 29, 99)] == [2130, 2031, 2129, 2099]


@settings(max_examples=20, deadline=None)  # stopping the clock takes most of the time
@given(st.integers(0, 99), st.integers(1, 12), st.integers(0, 31), st.dates(date(2000, 1, 1), date(2099, 12, 31)))
def test_dates_equal_those_of_a_reference_library(year, month, day, today):
    if day > calendar.monthrange(2000 + year, month)[1] or (month == 2 and day == 29):
        return
    text = f"17{year:02d}{month:02d}{day:02d}"
    with freeze_time(today):
        theirs = GS1Message.parse(text).element_strings[0].date
    assert scanned("]C1" + text, today).expiry == theirs


LOTS = st.text("ABCXYZabcxyz0123456789-/.", min_size=1, max_size=20)


@settings(deadline=None)
@given(LOTS, st.dates(date(2020, 1, 1), date(2040, 12, 31)), st.integers(1, 9999), st.permutations("ledq"))
def test_any_order_of_fields_reads_the_same(lot, expiry, count, order):
    parts = {"l": f"10{lot}\x1d", "e": expiry.strftime("17%y%m%d"), "d": "240more\x1d", "q": f"30{count}\x1d"}
    found = scanned(f"01{GTIN}" + "".join(parts[p] for p in order), TODAY)
    assert (found.lot, found.expiry, found.quantity) == (lot, expiry, count)


@settings(deadline=None)
@given(st.integers(0, 10**13 - 1), st.integers(0, 12), st.integers(1, 9))
def test_one_misread_digit_of_a_gtin_is_found(digits, place, shift):
    body = f"{digits:013d}"
    whole = body + str(check_digit(body))
    wrong = whole[:place] + str((int(whole[place]) + shift) % 10) + whole[place + 1 :]
    assert scanned("01" + whole, TODAY).item == whole
    with pytest.raises(Refused, match="last digit"):
        scanned("01" + wrong, TODAY)


FORMS = {
    "month": lambda d: d.strftime("%m%y"),
    "2": lambda d: "2" + d.strftime("%m%d%y"),
    "3": lambda d: "3" + d.strftime("%y%m%d"),
    "4": lambda d: "4" + d.strftime("%y%m%d") + "17",
    "5": lambda d: "5" + d.strftime("%y%j"),
    "6": lambda d: "6" + d.strftime("%y%j") + "05",
}
DAYS = st.dates(date(2000, 1, 1), date(2070, 12, 31))
WORDS = st.text("ABCXYZ0123456789", min_size=1, max_size=18)


@settings(deadline=None)
@given(st.sampled_from(sorted(FORMS)), DAYS, WORDS, st.sampled_from(["", "812", "900345"]), st.booleans())
def test_every_date_form_with_and_without_a_quantity(form, expiry, lot, quantity, alone):
    middle = f"$${quantity}{FORMS[form](expiry)}{lot}"
    found = scanned(sealed(f"+{middle}L" if alone else f"+A99912345/{middle}"), TODAY)
    last = date(expiry.year, expiry.month, calendar.monthrange(expiry.year, expiry.month)[1])
    assert found.expiry == (last if form == "month" else expiry)
    assert found.lot == lot
    assert found.quantity == {"": None, "812": 12, "900345": 345}[quantity]
    assert [f.slug for f in found.findings] == (["no-day-in-code"] if form == "month" else [])


@settings(deadline=None)
@given(DAYS, WORDS)
def test_the_short_form_of_year_and_day_and_the_full_dates(expiry, lot):
    assert scanned(sealed(f"+{expiry:%y%j}{lot}L"), TODAY).expiry == expiry
    found = scanned(sealed(f"+A99912345/$${'7'}{lot}/14D{expiry:%Y%m%d}/S12/Q7"), TODAY)
    assert (found.lot, found.expiry, found.serial, found.quantity) == (lot, expiry, "12", 7)
    assert scanned(sealed(f"+${lot}L"), TODAY).lot == lot
    assert scanned(sealed(f"+$$+7{lot}L"), TODAY).serial == lot


@settings(deadline=None)
@given(st.text(SIGNS, min_size=2, max_size=30), st.integers(0, 40), st.integers(1, 42))
def test_one_misread_sign_of_an_hibc_code_is_found(body, place, shift):
    whole = sealed("+" + body)
    place = 1 + place % (len(whole) - 1)
    wrong = whole[:place] + SIGNS[(SIGNS.index(whole[place]) + shift) % 43] + whole[place + 1 :]
    with pytest.raises(Refused):
        scanned(wrong, TODAY)


def test_a_check_sign_that_is_a_blank_counts_and_its_loss_is_said():
    body = next(f"+A999{n}1" for n in range(10_000) if check_sign(f"+A999{n}1") == " ")
    assert scanned(body + " ", TODAY).item == body[1:]
    with pytest.raises(Refused, match="last sign is a blank"):
        scanned(body, TODAY)


def test_code_39_stars_and_prefix():
    assert scanned("]A0*" + sealed("+A99912345") + "*", TODAY).item == "A99912345"


def test_two_halves_belong_together_by_their_link():
    first = scanned(sealed("+A99912345"), TODAY)
    second = scanned(sealed(f"+$$3271231LOT1{first.check}"), TODAY)
    whole = joined(second, first)
    assert (whole.item, whole.lot, whole.expiry) == ("A99912345", "LOT1", date(2027, 12, 31))
    other = scanned(sealed("+$$3271231LOT1" + SIGNS[(SIGNS.index(str(first.check)) + 1) % 43]), TODAY)
    with pytest.raises(Refused, match="another label"):
        joined(first, other)
    with pytest.raises(Refused, match="not the two halves"):
        joined(first, first)


PIECES = st.one_of(
    st.text(max_size=30),
    st.binary(max_size=30).map(lambda b: b.decode("latin-1")),
    st.text("0123456789", max_size=20),
    st.text(SIGNS, max_size=20),
    st.sampled_from(
        ["]C1", "]e0", "]d2", "]Q3", "]J1", "]E0", "]A0", "\x1d", "~", "^]", "<GS>", "(01)", "(17)", "(10)", "(", ")", "01", "17",
         "10", "15", "30", "37", "21", GTIN, "271231", "20270230", "https://", "http://[", "example.com", "/01/", "/10/", "?17=",
         "&", "%", "%2F", "%ff", "+A99912345", "/$$", "+$$", "$", "/16D", "/14D", "/S", "/Q", "*", " ", "\u00b2", "\uff11"]
    ),
)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.lists(PIECES, max_size=8).map("".join), st.booleans(), st.dates(date(1999, 1, 1), date(2100, 1, 1)))
@example("http://[", False, TODAY)
@example("https://example.com/01/%ff", False, TODAY)
@example("01" + "\uff10" * 14, False, TODAY)
@example("30\u00b2", False, TODAY)
def test_anything_at_all_is_read_or_refused_and_never_a_crash(text, seal, today):
    # HIBC codes are given their check sign, or nothing behind it would ever be reached.
    whole = sealed(text) if seal and text.startswith("+") and all(c in SIGNS for c in text) else text
    try:
        found = scanned(whole, today)
    except Refused as fault:
        assert fault.what and fault.todo and len(fault.what) < 600
    else:
        assert found.quantity is None or found.quantity > 0
        assert found.lot is None or (found.lot and found.lot.isascii() and found.lot.isprintable())


@pytest.mark.parametrize("text", ["\uff10\uff11", "01é", "a\x1b[2J", "\u202e01"])
def test_signs_that_no_barcode_has_are_refused_and_not_guessed_at(text):
    with pytest.raises(Refused, match="this keyboard's language"):
        scanned(text, TODAY)


def test_too_long_for_a_lot_is_never_cut_to_fit():
    # Published: GS1 General Specifications, (10) has up to 20 signs. The 21st is not a field of its own.
    with pytest.raises(Refused, match="up to 20 signs"):
        scanned(f"01{GTIN}17271231" + "10" + "A" * 21, TODAY)
    found = scanned(f"01{GTIN}10LOT-0000000001" + "17271231" + "21SERIAL", TODAY)
    assert found.suspect and (found.suspect.lot, found.suspect.expiry) == ("LOT-0000000001", date(2027, 12, 31))


def test_a_count_that_swallowed_the_next_field_is_refused_by_its_name():
    with pytest.raises(Refused, match=r"count \(30\)"):
        scanned(f"01{GTIN}30510AB", TODAY)


def test_a_serial_number_may_swallow_a_date_too():
    found = scanned(f"01{GTIN}10LOT1\x1d21S9917271231", TODAY)
    assert found.suspect and (found.suspect.lot, found.suspect.expiry) == ("LOT1", date(2027, 12, 31))


def test_a_serial_number_inside_a_lot_is_told_and_left_as_it_is():
    found = scanned(f"01{GTIN}1727123110ABC12321SER99", TODAY)
    assert found.suspect is None and found.lot == "ABC12321SER99"
    assert 'lot "ABC123" and serial number "SER99"' in found.findings[0].what and not found.findings[0].urgent
    for text in (f"01{GTIN}1727123110ABC12321SER99\x1d301", f"(01){GTIN}(17)271231(10)ABC12321SER99"):
        assert scanned(text, TODAY).findings == ()  # separators come through, or there are none


def test_how_sure_an_expiry_is():
    assert scanned(f"01{GTIN}17271231", TODAY).expiry_is == "day"
    assert scanned(f"01{GTIN}17271200", TODAY).expiry_is == "month"
    assert scanned(f"01{GTIN}15271200", TODAY).expiry_is == "best-before"
    assert scanned(f"01{GTIN}1727123115270900", TODAY).expiry_is == "day"
    assert scanned(sealed("+A99912345/$$1227LOT"), TODAY).expiry_is == "month"


def test_a_full_expiry_behind_a_month_names_its_day():
    found = scanned(sealed("+A99912345/$$1227LOT/14D20271215"), TODAY)
    assert (found.expiry, found.expiry_is, found.findings) == (date(2027, 12, 15), "day", ())
    with pytest.raises(Refused, match="twice"):
        scanned(sealed("+A99912345/$$1227LOT/14D20271115"), TODAY)
    with pytest.raises(Refused, match="production date"):
        scanned(sealed("+A99912345/$$1227LOT/16D20271315"), TODAY)


def test_gs1_codes_of_one_box_are_joined_and_contradictions_named():
    item, rest = scanned(f"01{GTIN}", TODAY), scanned("]C117271231" + "10AB", TODAY)
    for pieces in ([item, rest], [rest, item], [item, scanned("1727120010AB", TODAY), rest]):
        whole = one_box(pieces)
        assert (whole.item, whole.lot, whole.expiry, whole.expiry_is) == (GTIN, "AB", date(2027, 12, 31), "day")
        assert whole.findings == ()
    best = one_box([item, scanned("1527063010AB", TODAY), rest])
    assert (best.expiry, best.expiry_is, best.findings) == (date(2027, 12, 31), "day", ())
    for text, noun in (("10ab", "lot"), ("17280101", "expiry"), ("17271100", "expiry"), ("0100000000000017", "item")):
        with pytest.raises(Refused, match=f"says {noun}"):
            one_box([item, rest, scanned(text, TODAY)])
    with pytest.raises(Refused, match="the other HIBC"):
        one_box([item, scanned(sealed("+A99912345"), TODAY)])


def test_a_digital_link_with_a_stroke_at_its_end():
    assert scanned(f"HTTPS://EXAMPLE.COM/01/{GTIN}/?17=271231&10=a%2Bb", TODAY).lot == "a+b"


def test_lots_are_told_apart_by_case_and_length():
    lots = {scanned(f"01{GTIN}10{lot}", TODAY).lot for lot in ("3C001", "3c001", "3C0011", "03C001")}
    assert len(lots) == 4


def test_a_day_is_never_off_by_one():
    for n in range(366):
        day = date(2028, 1, 1) + timedelta(days=n)
        assert scanned(sealed(f"+A99912345/$$5{day:%y%j}L"), TODAY).expiry == day
