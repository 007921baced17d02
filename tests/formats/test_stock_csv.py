"""Stock from CSV, and expiry days. All data is made up."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.errors import Refused
from stockroom.formats.stock_csv import StockRow, expiry_day, read_count, read_opening


def test_an_opening() -> None:
    got = read_opening(
        b"product;lot;expiry;quantity;place\nCK;3C001;2027-01-31;4;Fridge 1\nCK;3c001;2028-02;12;Fridge 1\nSWAB;S;;200;Cupboard\n",
        "o.csv",
    )
    assert got.rows == (
        StockRow(2, "CK", "3C001", date(2027, 1, 31), 4, "Fridge 1", None),
        StockRow(3, "CK", "3c001", date(2028, 2, 29), 12, "Fridge 1", None),  # a leap year's last day of February
        StockRow(4, "SWAB", "S", None, 200, "Cupboard", None),
    )
    assert got.rejected == ()


@pytest.mark.parametrize(
    ("row", "word"),
    [
        (",A1,2027-01,4,F", "product is empty"),
        ("CK,,2027-01,4,F", "lot is empty"),
        ("CK,A1,2027-01,4,", "place is empty"),
        ("CK,A1,2027-01,,F", "quantity is empty"),
        ("CK,A1,2027-01,0,F", "not a quantity"),
        ("CK,A1,2027-01,-3,F", "not a quantity"),
        ("CK,A1,2027-01,1.5,F", "not a quantity"),
        ("CK,A1,2027-01,1000001,F", "not a quantity"),
        ("CK,A1,2027-01,1_0,F", "not a quantity"),
        ("CK,1.2E+11,2027-01,4,F", "short form of a long number"),
        ("CK,A1,2027-02-30,4,F", "not a day"),
        ("CK,A1,3/4/2027,4,F", "3 April 2027 or 4 March 2027"),
        ("CK,A1,2027-01,4,F,x", "6 fields"),
    ],
)
def test_rows_that_are_rejected_by_line(row: str, word: str) -> None:
    got = read_opening(f"product,lot,expiry,quantity,place\n{row}\nCK,A9,2027-01,1,F\n".encode(), "o.csv")
    assert [r.lot for r in got.rows] == ["A9"]
    assert [r.line for r in got.rejected] == [2] and word in got.rejected[0].why


def test_a_count() -> None:
    got = read_count(b"Lot,Product,Quantity,Why\nA1,CK,0,dropped\nA2,CK,7,\nA3,CK,x,\n", "c.csv")
    assert got.rows == (
        StockRow(2, "CK", "A1", None, 0, "", "dropped"),
        StockRow(3, "CK", "A2", None, 7, "", None),
    )
    assert [r.line for r in got.rejected] == [4]
    assert read_count(b"lot,product,quantity\nA1,CK,3\n", "c.csv").rows[0].why is None


def test_columns_must_be_there() -> None:
    with pytest.raises(Refused) as no:
        read_opening(b"product,lot,quantity,place\nCK,A1,4,F\n", "o.csv")
    assert no.value.slug == "missing-column" and '"expiry"' in no.value.what


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2027-01-31", date(2027, 1, 31)),
        ("2027-01", date(2027, 1, 31)),
        ("2028-02", date(2028, 2, 29)),
        ("02/2027", date(2027, 2, 28)),
        ("Apr 2027", date(2027, 4, 30)),
        ("31/01/2027", date(2027, 1, 31)),
        ("01/31/2027", date(2027, 1, 31)),
        ("4/4/2027", date(2027, 4, 4)),
        ("3.4.2027", date(2027, 4, 3)),  # common practice, no source: dots are written day first
        ("31 Jan 2027", date(2027, 1, 31)),
        ("20270131", date(2027, 1, 31)),
    ],
)
def test_expiry_days(text: str, day: date) -> None:
    assert expiry_day(text) == day


def test_an_expiry_that_could_be_two_days_names_both() -> None:
    with pytest.raises(Refused, match="3/4/2026 is 3 April 2026 or 4 March 2026") as no:
        expiry_day("3/4/2026")
    assert no.value.slug == "day-or-month" and "2027-01-31" in no.value.todo
    with pytest.raises(Refused, match="31/01/27 is 31 January 2027 or 27 January 2031"):
        expiry_day("31/01/27")


@pytest.mark.parametrize(
    "text", ["", "soon", "2027-13", "01/27", "2027-02-29", "0000-01", "99999-01", "2027-01-31 10:00"]
)
def test_what_is_no_expiry(text: str) -> None:
    with pytest.raises(Refused) as no:
        expiry_day(text)
    assert no.value.slug == "bad-expiry"


@given(st.dates(date(1990, 1, 1), date(2100, 12, 31)))
def test_iso_days_come_back(day: date) -> None:
    assert expiry_day(day.isoformat()) == day and expiry_day(f"{day:%d %B %Y}") == day
    assert expiry_day(day.isoformat()[:7]).month == day.month


@given(st.text(max_size=30))
def test_any_text_is_a_day_or_refused(text: str) -> None:
    try:
        assert isinstance(expiry_day(text), date)
    except Refused as no:
        assert no.slug in ("bad-expiry", "day-or-month")
