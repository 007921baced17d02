"""Scan after scan on a real terminal, as a hand scanner types it; and what is asked about a barcode.

Derived from what is scanned, which is made up; the GTINs lie in the demonstration range 952.
"""

import re
import sys

import pytest
from conftest import Line

if sys.platform == "win32":
    pytest.skip("there is no pseudo-terminal", allow_module_level=True)

from terminal import at_a_terminal

GTIN, OTHER = "09520123456788", "09520000000004"
FULL = f"]d201{GTIN}17271231" + "10aB-1"
MANY = ["stock", "receive", "--scan-many", "--into", "Cold one"]
SCAN, AGAIN, WHICH, PIECES = "scan: ", "Enter again records it", "Which product is", "barcode stand for?"


@pytest.fixture
def known(cli: Line) -> Line:
    cli.ok("stock", "code", GTIN, "KIT", "--units", "1")
    return cli


def on_hand(cli: Line) -> dict[tuple[str, str, str], int]:
    return {(r["product"], r["lot"], r["expiry"]): r["quantity"] for r in cli.ask("stock", "list")["lots"]}


def entries(cli: Line) -> int:
    return len(cli.ask("records", "history")["entries"])


def test_boxes_one_after_the_other_shown_and_recorded_as_one(known: Line) -> None:
    other = f"01{GTIN}17280131" + "10C"
    code, seen = at_a_terminal(
        known, MANY, (SCAN, FULL), (SCAN, FULL), (SCAN, other), (SCAN, "garbage"), (SCAN, "-"), (SCAN, ""), (AGAIN, "")
    )
    assert code == 0, seen
    assert "2 in all, 1 scan left out" in seen and "2 so far" in seen
    assert "! left out: field" in seen and "taken back: KIT lot C" in seen
    assert on_hand(known) == {("KIT", "aB-1", "2027-12-31"): 2}
    assert entries(known) == 3
    plain = re.sub(r"\x1b\[[0-9;]*m", "", seen)
    assert all(len(row) <= 80 for row in plain.splitlines() if not row.startswith("scan: ")), seen


def test_a_half_box_is_taken_back_before_a_whole_one(known: Line) -> None:
    code, seen = at_a_terminal(
        known, MANY, (SCAN, FULL), (SCAN, f"01{GTIN}"), ("scan its other barcode", "-"), (SCAN, ""), (AGAIN, "")
    )
    assert code == 0, seen
    assert f"taken back: {GTIN}" in seen
    assert on_hand(known) == {("KIT", "aB-1", "2027-12-31"): 1}


def test_a_scanner_that_types_two_line_ends_goes_on(known: Line) -> None:
    code, seen = at_a_terminal(
        known, MANY, (SCAN, f"{FULL}\n"), (AGAIN, f"{FULL}\n"), (AGAIN, f"{FULL}\n"), (AGAIN, "")
    )
    assert code == 0, seen
    assert on_hand(known) == {("KIT", "aB-1", "2027-12-31"): 3}


def test_the_separator_itself_comes_through_a_terminal(known: Line) -> None:
    code, seen = at_a_terminal(known, MANY, (SCAN, f"01{GTIN}10L1\x1d17271231"), (SCAN, ""), (AGAIN, ""))
    assert code == 0, seen
    assert on_hand(known) == {("KIT", "L1", "2027-12-31"): 1}


def test_an_interruption_leaves_nothing_not_even_a_tie(cli: Line) -> None:
    code, seen = at_a_terminal(cli, MANY, (SCAN, FULL), (WHICH, "KIT"), (PIECES, "1"), ("1 so far", "^C"))
    assert code == 130 and "nothing half-written" in seen
    assert entries(cli) == 1 and cli.ask("stock", "codes")["codes"] == []


def test_an_unknown_barcode_is_asked_about_once_and_remembered(cli: Line) -> None:
    other = f"01{OTHER}17280131" + "10S"
    code, seen = at_a_terminal(
        cli, MANY, (SCAN, FULL), (WHICH, "kti"), (WHICH, "kit"), (PIECES, "4"), (SCAN, FULL), (SCAN, other), (WHICH, ""),
        (SCAN, ""), (AGAIN, ""),
    )  # fmt: skip
    assert code == 0 and 'did you mean "KIT"?' in seen and "this box is left out" in seen
    assert f"remembered: barcode {GTIN} is 4 x KIT" in " ".join(seen.split())
    assert on_hand(cli) == {("KIT", "aB-1", "2027-12-31"): 8}
    assert cli.ask("stock", "receive", "--scan", FULL, "--into", "Cold one")["quantity"] == 4
    cli.ok("undo", "R-2", "--why", "trial")  # takes the tie back with it
    assert cli.ask("stock", "codes")["codes"] == []


def test_one_scan_asks_as_well(cli: Line) -> None:
    words = ["stock", "receive", "--scan", f"01{GTIN}10A", "--into", "Cold one"]
    code, seen = at_a_terminal(
        cli, words, (WHICH, "KIT"), (PIECES, "1"), ("Expiry, such as", "2027-02-30"), ("Expiry, such as", "2027-02")
    )
    assert code == 0, seen
    assert on_hand(cli) == {("KIT", "A", "2027-02-28"): 1}


@pytest.mark.parametrize(("typed", "lot"), [("1", "ABC123"), ("2", "ABC12317271231")])
def test_a_lost_separator_is_asked_about_once(known: Line, typed: str, lot: str) -> None:
    code = f"01{GTIN}10ABC12317271231"
    dated = [("Expiry, such as", "2027-12-31")] if typed == "2" else []
    ended, seen = at_a_terminal(
        known, MANY, (SCAN, code), ("1 or 2?", "3"), ("1 or 2?", typed), *dated, (SCAN, code), (SCAN, ""), (AGAIN, "")
    )
    assert ended == 0, seen
    assert "1  lot ABC123, expires Fri 31 Dec 2027" in seen and "2  lot ABC12317271231, no expiry" in seen
    assert on_hand(known) == {("KIT", lot, "2027-12-31"): 2}


def test_the_second_barcode_of_a_box_is_waited_for_or_typed_in(known: Line) -> None:
    code, seen = at_a_terminal(
        known, MANY, (SCAN, f"01{GTIN}"), ("scan its other barcode", "1727123110A"), (SCAN, f"01{GTIN}"),
        ("scan its other barcode", ""), ("Lot, as printed?", "b7"), ("Expiry, such as", "2028-01"), (SCAN, ""), (AGAIN, ""),
    )  # fmt: skip
    assert code == 0, seen
    assert on_hand(known) == {("KIT", "A", "2027-12-31"): 1, ("KIT", "b7", "2028-01-31"): 1}


def test_the_open_order_that_it_fits_is_offered_once(known: Line) -> None:
    known.ok("reorder", "place", "Harbour Supplies", "KIT=4", "SWAB=50", "--why", "trial")
    known.ok("stock", "code", OTHER, "SWAB", "--units", "50")
    code, seen = at_a_terminal(
        known, MANY, (SCAN, FULL), (SCAN, f"01{OTHER}17290131" + "10S"), (SCAN, ""), (AGAIN, ""),
        ("KIT, SWAB are still to come of O-1. Is this delivery of it?", "y"),
    )  # fmt: skip
    assert code in (0, 1), seen
    came = known.ask("reorder", "orders", "O-1")["orders"][0]["receipts"]
    assert [(r["product"], r["quantity"]) for r in came] == [("KIT", 1), ("SWAB", 50)]


def test_nobody_says_who_is_asked_before_the_first_scan(known: Line) -> None:
    known.by = None
    code, seen = at_a_terminal(known, MANY, ("Your initials?", "CD"), (SCAN, FULL), (SCAN, ""), (AGAIN, ""))
    assert code == 0, seen
    known.by = "AB"
    assert {e["entry"]: e["by"] for e in known.ask("records", "history")["entries"]}["R-3"] == "CD"
