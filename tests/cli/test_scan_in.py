"""Deliveries by barcode: the published examples through the command line, what is contradicted, scan after scan.

Sources: the GS1 General Specifications and the HIBC supplier labelling standard (ANSI/HIBC 2) as named beside the values;
GTINs lie in the demonstration range 952; everything else is made up, and derived from what is scanned.
"""

import io
import sys
from typing import Any

import pytest
from conftest import PRACTICE, Line

from stockroom.formats.hibc_code import check_sign

GTIN, PACK = "09520123456788", "19520123456785"
KNOWN = PRACTICE.replace(
    'caution = ["Do not use if the seal is broken."]',
    f'gtin = [{{ code = "{GTIN}", units = 1 }}, {{ code = "{PACK}", units = 4 }}, {{ code = "A99912345", units = 1 }},'
    ' { code = "J014652230580", units = 1 }]\ncaution = ["Do not use if the seal is broken."]',
)
INTO = ("--into", "Cold one")
FULL = f"01{GTIN}17271231" + "10aB-1"
SWAB = "09520000000004"


@pytest.fixture
def known(line: Any) -> Line:
    """A practice whose file lists its barcodes."""
    made: Line = line(KNOWN)
    return made


def entries(cli: Line) -> int:
    return len(cli.ask("records", "history")["entries"])


def on_hand(cli: Line) -> dict[tuple[str, str, str], int]:
    return {(r["product"], r["lot"], r["expiry"]): r["quantity"] for r in cli.ask("stock", "list")["lots"]}


def piped(cli: Line, monkeypatch: pytest.MonkeyPatch, text: str, *more: str) -> Any:
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))
    return cli("stock", "receive", "--scan-many", *INTO, *more)


# --- one box ---


def test_a_scan_answers_as_the_same_delivery_typed(known: Line) -> None:
    typed = known.ask("stock", "receive", "KIT", "--lot", "aB-1", "--expiry", "2027-12-31", "--quantity", "1", *INTO)
    by_code = known.ask("stock", "receive", "--scan", FULL, *INTO)
    assert list(by_code) == list(typed)
    assert {k: v for k, v in by_code.items() if k not in ("entry", "what")} == {
        k: v for k, v in typed.items() if k not in ("entry", "what")
    }
    assert on_hand(known) == {("KIT", "aB-1", "2027-12-31"): 2}


# Published: the values of the standards' own examples (from memory); the clock stands in 2026.
@pytest.mark.parametrize(
    ("code", "more", "lot", "expiry"),
    [
        ("010952012345678817201225310300019539220299", ("--lot", "L1"), "L1", "2020-12-25"),
        ("+A99912345/$$52001510X33", (), "10X3", "2020-01-15"),
        ("+J014652230580/$$3220909K010025/16D20200311Z", (), "K010025", "2022-09-09"),
    ],
)
def test_the_published_examples(known: Line, code: str, more: tuple[str, ...], lot: str, expiry: str) -> None:
    said = known("stock", "receive", "--scan", code, *more, "--quantity", "2", *INTO, "--json")
    assert said.code == 1 and "expired on" in said.json["warnings"][0]
    assert (said.json["product"], said.json["lot"], said.json["expiry"]) == ("KIT", lot, expiry)
    assert said.json["quantity"] == 2


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("+$$25102173960231W", 'expiry "510217"'),
        ("+A99912345/$$52001510X34", 'should be "3"'),
        ("0109520123456789" + "1727123110A", "last digit should be 8"),
        (f"01{GTIN}17271331" + "10A", "expiry (17)"),
        (f"01{GTIN}17270230" + "10A", "no such day"),
        (f"01{GTIN}1727123110" + "A" * 21, "up to 20 signs"),
        (f"01{GTIN}17271231", "has no lot"),
        (f"01{GTIN}10A", "has no expiry"),
        ("1727123110A", "names no item"),
        (f"01{SWAB}1727123110A", f"stock code {SWAB} PRODUCT"),
        ("*ß?=)(", "keyboard"),
        ("x" * 5000, "no barcode"),
        ("", "nothing was scanned"),
    ],
)
def test_what_is_wrong_is_refused_by_its_field_and_nothing_is_written(known: Line, code: str, words: str) -> None:
    said = known("stock", "receive", "--scan", code, "--quantity", "1", *INTO)
    assert (said.code, said.out) == (3, "") and words in said.err.replace("\n", " ")
    assert entries(known) == 1


@pytest.mark.parametrize("prefix", ["]d2", "]C1", "]e0", "]Q3", "]J1", ""])
@pytest.mark.parametrize("mark", ["\x1d", "~", "<GS>"])
def test_prefixes_and_separators(known: Line, prefix: str, mark: str) -> None:
    got = known.ask("stock", "receive", "--scan", f"{prefix}01{GTIN}10Ab1{mark}17271231" + "307", *INTO)
    assert (got["lot"], got["expiry"], got["quantity"]) == ("Ab1", "2027-12-31", 7)


@pytest.mark.parametrize(
    "code", [f"(01){GTIN}(17)271231(10)A/B", f"https://example.com/x/01/{GTIN}/10/A%2FB?17=271231&linkType=all"]
)
def test_brackets_and_links(known: Line, code: str) -> None:
    got = known.ask("stock", "receive", "--scan", code, *INTO)
    assert (got["product"], got["lot"], got["expiry"]) == ("KIT", "A/B", "2027-12-31")


def test_the_century_follows_the_clock(known: Line) -> None:
    # Published: GS1 General Specifications. 26 read in 2080 is 54 years behind: the century after.
    got = known.ask("stock", "receive", "--scan", f"01{GTIN}17260131" + "10A", *INTO, now="2080-03-02T09:00:00+00:00")
    assert got["expiry"] == "2126-01-31"


def test_what_the_code_leaves_vague_is_said_and_may_be_said_better(known: Line) -> None:
    month = f"01{GTIN}17270200" + "10A"
    got = known.ask("stock", "receive", "--scan", month, *INTO)
    assert got["expiry"] == "2027-02-28" and "names no day" in got["notes"][0]
    got = known.ask("stock", "receive", "--scan", month.replace("10A", "10B"), "--expiry", "2027-02-15", *INTO)
    assert got["expiry"] == "2027-02-15" and got["notes"] == []
    best = f"01{GTIN}15270630" + "10C"
    got = known.ask("stock", "receive", "--scan", best, *INTO)
    assert got["expiry"] == "2027-06-30" and "best-before" in got["notes"][0]
    assert (
        known.ask("stock", "receive", "--scan", best[:-1] + "D", "--expiry", "2027-08-01", *INTO)["expiry"]
        == "2027-08-01"
    )


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--lot", "ab-1"), ('lot "aB-1"', '"ab-1"')),
        (("--expiry", "2027-12-30"), ('expiry "2027-12-31"', '"2027-12-30"')),
        (("--quantity", "3"), ('quantity "5"', '"3"')),
        (("--packs", "1"), ('quantity "5"', '"4"')),
    ],
)
def test_a_contradiction_is_refused_and_names_both(known: Line, more: tuple[str, ...], words: tuple[str, str]) -> None:
    said = known("stock", "receive", "--scan", FULL + "\x1d305", *more, *INTO)
    assert said.code == 3 and all(w in said.err for w in words) and entries(known) == 1
    said = known("stock", "receive", "SWAB", "--scan", FULL, *INTO)
    assert said.code == 3 and "KIT" in said.err and "SWAB" in said.err


def test_what_is_said_twice_alike_is_no_contradiction(known: Line) -> None:
    got = known.ask(
        "stock",
        "receive",
        "kit",
        "--scan",
        FULL + "\x1d304",
        "--lot",
        "aB-1",
        "--expiry",
        "2027-12",
        "--packs",
        "1",
        *INTO,
    )
    assert (got["quantity"], got["packs"]) == (4, 1)


def test_a_packs_code_stands_for_its_pieces_and_a_count_for_packs(known: Line) -> None:
    pack = f"01{PACK}17271231" + "10A"
    assert known.ask("stock", "receive", "--scan", pack, *INTO)["quantity"] == 4
    got = known.ask("stock", "receive", "--scan", pack + "\x1d302", *INTO)
    assert got["quantity"] == 8 and "counts 2, each of 4 pieces" in got["notes"][0]
    assert known.ask("stock", "receive", "--scan", pack, "--quantity", "3", *INTO)["quantity"] == 3


def test_a_lost_separator_is_shown_with_both_readings_and_wants_a_word(known: Line) -> None:
    code = f"01{GTIN}10ABC12317271231"
    said = known("stock", "receive", "--scan", code, *INTO)
    assert said.code == 3 and 'lot "ABC12317271231" may be lot "ABC123"' in said.err
    assert "--lot ABC123 --expiry 2027-12-31" in said.err
    assert known("stock", "receive", "--scan", code, "--lot", "ABC123", *INTO).code == 3
    got = known.ask("stock", "receive", "--scan", code, "--lot", "ABC123", "--expiry", "2027-12-31", *INTO)
    assert (got["lot"], got["expiry"], got["warnings"]) == ("ABC123", "2027-12-31", [])
    got = known.ask("stock", "receive", "--scan", code, "--lot", "ABC12317271231", "--expiry", "2028-01-31", *INTO)
    assert got["lot"] == "ABC12317271231"


def test_beside_a_lost_separator_only_one_of_both_readings_is_taken(known: Line) -> None:
    code = f"01{GTIN}10ABC12317271231307"
    said = known("stock", "receive", "--scan", code, "--lot", "ABC12", "--expiry", "2027-12-31", *INTO)
    assert said.code == 3 and all(f'"{lot}"' in said.err for lot in ("ABC12317271231307", "ABC123", "ABC12"))
    said = known("stock", "receive", "--scan", code, "--lot", "ABC123", "--expiry", "2028-12-31", *INTO)
    assert said.code == 3 and '"2027-12-31"' in said.err and '"2028-12-31"' in said.err and entries(known) == 1
    got = known.ask("stock", "receive", "--scan", code, "--lot", "ABC123", "--expiry", "2027-12-31", *INTO)
    assert (got["lot"], got["quantity"]) == ("ABC123", 7)  # the count stood behind the lost separator too


def test_a_misread_number_of_a_case_is_never_a_lot(known: Line) -> None:
    words = ("KIT", "--scan", "10952012345670", "--expiry", "2027-12-31", "--quantity", "4", *INTO)
    said = known("stock", "receive", *words)
    assert said.code == 3 and "last digit should be 9" in said.err and entries(known) == 1


def test_two_barcodes_of_one_box(known: Line) -> None:
    got = known.ask("stock", "receive", "--scan", "1727123110A", "--scan", f"01{GTIN}", *INTO)
    assert (got["product"], got["lot"], got["expiry"]) == ("KIT", "A", "2027-12-31")
    first = "+A99912345"
    link = check_sign(first)
    second = f"+$$3271231LOT1{link}"
    got = known.ask("stock", "receive", "--scan", second + check_sign(second), "--scan", first + link, *INTO)
    assert (got["product"], got["lot"], got["expiry"]) == ("KIT", "LOT1", "2027-12-31")
    other = f"+$$3271231LOT1{'A' if link != 'A' else 'B'}"
    said = known("stock", "receive", "--scan", first + link, "--scan", other + check_sign(other), *INTO)
    assert said.code == 3 and "another label" in said.err
    said = known("stock", "receive", "--scan", FULL, "--scan", FULL.replace("aB-1", "ab-1"), *INTO)
    assert said.code == 3 and '"aB-1"' in said.err and '"ab-1"' in said.err


def test_lots_are_told_apart_letter_by_letter_and_two_expiries_are_reported(known: Line) -> None:
    for lot in ("3C001", "3c001", "3C0011"):
        assert known("stock", "receive", "--scan", f"01{GTIN}17271231" + f"10{lot}", *INTO).code == 0
    assert len(on_hand(known)) == 3
    got = known.ask("stock", "receive", "--scan", f"01{GTIN}17271130" + "103C001", *INTO)
    assert "on record with expiry Fri 31 Dec 2027, now Tue 30 Nov 2027" in got["warnings"][0]


def test_a_scan_is_counted_against_its_order(known: Line) -> None:
    known.ok("reorder", "place", "Harbour Supplies", "KIT=4", "--why", "trial")
    got = known.ask("stock", "receive", "--scan", FULL, "--order", "O-1", "--quantity", "3", *INTO)
    assert got["order"] == "O-1" and got["to_come"] == [{"product": "KIT", "quantity": 1}]


def test_the_command_line_wants_a_product_or_a_barcode(known: Line) -> None:
    for words in ((), ("KIT",), ("KIT", "--lot", "A"), ("--lot", "A", "--expiry", "2027-01-31")):
        said = known("stock", "receive", *words, "--quantity", "1", *INTO)
        assert (said.code, said.out) == (2, "") and "Missing" in said.err
    said = known("stock", "receive", "--scan-many", "--scan", FULL, *INTO)
    assert (said.code, said.out) == (2, "")


# --- what a barcode stands for ---


def test_a_barcode_is_tied_once_and_the_last_tie_counts(cli: Line) -> None:
    code = f"01{SWAB}17280131" + "10S1"
    said = cli("stock", "code", code, "SWAB")
    assert said.code == 3 and "--units 50 for a pack" in said.err
    cli.ok("stock", "code", code, "KIT", "--units", "4")
    got = cli.ask("stock", "code", SWAB[1:], "swab", "--units", "50")  # as 13 digits: the same number
    assert (got["code"], got["product"], got["units"]) == (SWAB, "SWAB", 50)
    assert got["notes"] == [f"until now {SWAB} was 4 x KIT"]
    got = cli.ask("stock", "receive", "--scan", code, "--into", "Cupboard")
    assert (got["product"], got["quantity"], got["packs"]) == ("SWAB", 50, 1)
    assert f"barcode {SWAB} is 50 x SWAB" in cli.ok("records", "history").out
    cli.ok("undo", "R-3", "--why", "the first was right")
    assert cli.ask("stock", "codes")["codes"] == [{"code": SWAB, "product": "KIT", "units": 4, "listed": False}]
    assert cli.ok("records", "verify").code == 0


def test_codes_are_those_of_the_instant_asked_for(cli: Line) -> None:
    cli.ok("stock", "code", SWAB, "SWAB", "--units", "1", "--at", "2026-02-02T10:00")
    assert cli.ask("stock", "codes", "--as-of", "2026-02-02T09:59")["codes"] == []
    assert len(cli.ask("stock", "codes", "--as-of", "2026-02-02T10:00")["codes"]) == 1
    assert cli.ask("stock", "codes", "--product", "KIT")["codes"] == []
    assert "No barcode is known" in cli.ok("stock", "codes", "--product", "KIT").out


def test_what_the_practice_file_lists_is_changed_there(known: Line) -> None:
    said = known("stock", "code", PACK, "SWAB", "--units", "1")
    assert said.code == 3 and "lists" in said.err and "4 x KIT" in said.err
    assert [c["listed"] for c in known.ask("stock", "codes")["codes"]] == [True] * 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("1727123110A", "KIT", "--units", "1"), "no item"),
        (("0109520123456789", "KIT", "--units", "1"), "last digit"),
        ((SWAB, "NOPE", "--units", "1"), "no product"),
        ((SWAB, "KIT", "--units", "0"), "quantity"),
        ((SWAB, "KIT", "--units", "2000000"), "2000000"),
    ],
)
def test_a_tie_that_cannot_be_is_refused(cli: Line, words: tuple[str, ...], said: str) -> None:
    answer = cli("stock", "code", *words)
    assert answer.code == 3 and said in answer.err and entries(cli) == 1


def test_an_hibc_number_is_tied_as_it_is_named(cli: Line) -> None:
    body = "+B123ITEM70/$$3271231L1"
    code = body + check_sign(body)
    said = cli("stock", "receive", "--scan", code, *INTO)
    assert "stockroom stock code B123ITEM70 PRODUCT --units N" in said.err
    cli.ok("stock", "code", "B123ITEM70", "KIT", "--units", "4")
    assert cli.ask("stock", "receive", "--scan", code, *INTO)["quantity"] == 4


def test_a_product_named_beside_an_unknown_code_is_taken_and_not_remembered(cli: Line) -> None:
    assert cli("stock", "receive", "KIT", "--scan", FULL, *INTO).code == 3  # how many is not known
    assert cli.ask("stock", "receive", "KIT", "--scan", FULL, "--quantity", "2", *INTO)["product"] == "KIT"
    assert cli.ask("stock", "codes")["codes"] == []


# --- scan after scan, from a file ---


def test_scans_from_a_file_are_one_entry(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    pack = f"]d201{PACK}17280131" + "10P9"
    said = piped(known, monkeypatch, "\r\n".join([FULL, pack, FULL, f"01{GTIN}", "17270630" + "10Z", pack]) + "\r\n")
    assert said.code == 0 and "R-2  received 11 pieces into Cold one" in said.out
    assert on_hand(known) == {
        ("KIT", "aB-1", "2027-12-31"): 2, ("KIT", "P9", "2028-01-31"): 8, ("KIT", "Z", "2027-06-30"): 1,
    }  # fmt: skip
    assert "2 so far" in said.err and entries(known) == 2
    known.ok("undo", "R-2", "--why", "trial")
    assert on_hand(known) == {} and known.ok("records", "verify").code == 0


def test_what_is_odd_about_one_of_many_names_its_lot(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    said = piped(known, monkeypatch, f"{FULL}\n01{GTIN}17280200" + "10M\n", "--json")
    assert said.json["notes"] == [
        "KIT lot M: expiry in the barcode names no day: its month's last day, 2028-02-29, counts"
    ]


def test_scans_answer_in_json(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    got = piped(known, monkeypatch, f"{FULL}\n{FULL}\n\n", "--arrived-at", "9.5", "--json")
    assert got.code == 1 and got.err == ""
    assert got.json["quantity"] == 2 and [d["quantity"] for d in got.json["deliveries"]] == [2]
    assert "in quarantine" in got.json["warnings"][0]


def test_a_wrong_scan_is_said_and_the_rest_goes_on(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    wrong = [FULL[:-1] + "\x07", "garbage", f"01{SWAB}1727123110A", f"01{GTIN}10A17271231", f"01{GTIN}", "\udcff", "+"]
    said = piped(known, monkeypatch, "\n".join([*wrong[:4], FULL, *wrong[4:]]))
    assert said.code == 1 and "7 scans left out" in said.out
    assert said.err.count("! left out") == 7
    assert on_hand(known) == {("KIT", "aB-1", "2027-12-31"): 1}
    assert "Traceback" not in said.err


def test_nothing_that_counts_is_refused(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    for text in ("", "\n", "garbage\n", f"01{GTIN}\n"):
        said = piped(known, monkeypatch, text)
        assert (said.code, said.out) == (3, "") and entries(known) == 1


def test_what_stands_behind_an_empty_line_is_not_lost_silently(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    said = piped(known, monkeypatch, f"{FULL}\n\n{FULL}\n{FULL}\n")
    assert said.code == 1 and "2 lines after an empty line" in said.out
    assert on_hand(known) == {("KIT", "aB-1", "2027-12-31"): 1}


def test_all_or_nothing(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    said = piped(known, monkeypatch, f"{FULL}\n", "--order", "O-9")
    assert (said.code, said.out) == (3, "") and entries(known) == 1
    said = piped(known, monkeypatch, f"{FULL}\n", "--at", "2027-01-01T10:00")
    assert said.code == 3 and entries(known) == 1
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{FULL}\n"))
    said = known("stock", "receive", "--scan-many", "--into", "Attic")
    assert said.code == 3 and entries(known) == 1


def test_the_same_box_twice_is_counted_once(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    one, other = f"{FULL}\x1d21S1", f"{FULL}\x1d21S2"
    said = piped(known, monkeypatch, f"{one}\n{other}\n{one}\n")
    assert said.code == 1 and "serial number S1 was scanned already" in said.err
    assert on_hand(known) == {("KIT", "aB-1", "2027-12-31"): 2}


def test_two_expiries_of_one_lot_in_one_delivery_are_reported(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    said = piped(known, monkeypatch, f"{FULL}\n{FULL.replace('271231', '271130')}\n", "--json")
    assert said.code == 1 and "is on record with expiry" in said.json["warnings"][0]
    assert len(said.json["deliveries"]) == 2


def test_several_products_against_one_order(known: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    known.ok("reorder", "place", "Harbour Supplies", "KIT=4", "SWAB=50", "--why", "trial")
    known.ok("stock", "code", SWAB, "SWAB", "--units", "50")
    said = piped(
        known, monkeypatch, f"01{PACK}17271231" + f"10A\n01{SWAB}17290131" + "10B\n", "--order", "O-1", "--json"
    )
    assert [d["order"] for d in said.json["deliveries"]] == ["O-1", "O-1"]
    assert said.json["deliveries"][-1]["to_come"] == []
    assert said.json["warnings"] == ["Cold one holds 54 of its 40 spaces"]  # 4 kits and 50 swabs, said once
