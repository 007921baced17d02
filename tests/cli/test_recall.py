"""A maker's notice: what it means, where every piece is, what is held, and that the sums add up. Derived from the records."""

from collections.abc import Callable

import pytest
from conftest import Line
from hypothesis import given
from hypothesis import strategies as st

from stockroom.core.notice import Notice, lookalikes
from stockroom.core.records import Lot


def stocked(made: Line) -> Line:
    for lot, expiry in (
        ("3C001", "2026-12-31"),
        ("3c001", "2026-12-31"),
        ("3C0011", "2027-03-31"),
        ("3C002", "2027-06-30"),
    ):
        made.ok(
            "stock",
            "receive",
            "KIT",
            "--lot",
            lot,
            "--expiry",
            expiry,
            "--quantity",
            4,
            "--into",
            "Cold one",
            "--at",
            "2026-02-27T09:00",
        )
    made.ok("booking", "add", "white", "--start", "2026-03-03T12:00", "--patient", "P-1", "--at", "2026-02-27T09:05")
    made.ok("warmup", "pull", "B-1", "--lot", "3C001")
    made.ok("booking", "done", "B-1", now="2026-03-03T15:00:00+00:00")
    made.ok("warmup", "pull", "--product", "KIT", "--lot", "3C001", now="2026-03-03T15:10:00+00:00")
    made.now = "2026-03-03T16:00:00+00:00"
    return made


def test_lots_match_sign_by_sign_and_sums_add_up(both: Line) -> None:
    stocked(both)
    said = both("recall", "KIT", "3C001", "--json")
    assert said.code == 1
    found = said.json
    assert [x["lot"] for x in found["lots"]] == ["3C001"]
    # derived: 4 came, 1 used on B-1, 1 is out, 2 stand in the fridge
    assert found["totals"] == {
        "received": 4, "adjusted": 0, "unaccounted": 0, "used": 1, "discarded": 0, "returned": 0, "on_hand": 2, "out": 1,
        "difference": 0,
    }  # fmt: skip
    assert [b["booking"] for b in found["lots"][0]["bookings"]] == ["B-1"]
    assert found["not_held"] == 3


def test_hold_takes_in_all_that_is_here_and_kits_that_are_out(both: Line) -> None:
    stocked(both)
    said = both.ask("recall", "KIT", "3C001", "3C002", "--notice", "letter 7", "--hold")
    assert said["entry"].startswith("R-")
    assert said["not_held"] == 0
    rows = {(r["lot"], r["place"]): r["state"] for r in both.ask("stock", "list")["lots"]}
    assert rows["3C001", "Cold one"] == rows["3C001", "out"] == rows["3C002", "Cold one"] == "quarantined"
    assert rows["3c001", "Cold one"] == rows["3C0011", "Cold one"] == "usable"
    assert both("records", "verify").code == 0


def test_what_was_never_here_is_named_with_what_looks_like_it(cli: Line) -> None:
    stocked(cli)
    found = cli.ask("recall", "KIT", "3COO1", "9Z")
    assert found["lots"] == []
    assert found["absent"] == [{"lot": "3COO1", "alike": ["3C001", "3c001"]}, {"lot": "9Z", "alike": []}]
    assert cli("recall", "KIT", "9Z").code == 0


def test_ranges_of_codes_and_of_expiries(cli: Line) -> None:
    stocked(cli)
    lots = [x["lot"] for x in cli.ask("recall", "KIT", "--from", "3C001", "--to", "3C009")["lots"]]
    assert lots == ["3C001", "3C002"]
    lots = [x["lot"] for x in cli.ask("recall", "KIT", "--expiry-from", "2027-01", "--expiry-to", "2027-04")["lots"]]
    assert lots == ["3C0011"]
    assert len(cli.ask("recall", "KIT", "--all")["lots"]) == 4


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["KIT"], 3), (["KIT", "--from", "3C001"], 3), (["KIT", "--from", "3C1", "--to", "3C001"], 3),
        (["KIT", "--from", "3C9", "--to", "3C1"], 3), (["KITT", "3C001"], 3), (["KIT", "3C001", "--all"], 2),
        (["KIT", "3C001", "--hold", "--as-of", "2026-03-02"], 2), (["KIT", "--expiry-from", "2027-05", "--expiry-to", "2027-04"], 3),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(cli: Line, words: list[str], code: int) -> None:
    stocked(cli)
    said = cli("recall", *words)
    assert (said.code, said.out) == (code, "")


def test_as_of_earlier_it_was_all_in_the_fridge(cli: Line) -> None:
    stocked(cli)
    found = cli.ask("recall", "KIT", "3C001", "--as-of", "2026-02-27T12:00")
    assert (found["totals"]["on_hand"], found["totals"]["out"]) == (4, 0)
    assert cli.ask("recall", "KIT", "3C001", "--as-of", "2026-02-26")["lots"] == []


def test_the_sheet_is_escaped_and_has_what_was_done(cli: Line) -> None:
    stocked(cli)
    cli.ok("recall", "KIT", "3C001", "--notice", "<b>seal</b>", "--hold", "--out", "sheet.html")
    page = (cli.folder / "sheet.html").read_text(encoding="utf-8")
    assert "<b>seal" not in page and "&lt;b&gt;seal" in page
    assert "recall: &lt;b&gt;seal" in page and "B-1" in page and "Storage:" in page


def test_a_recall_can_be_taken_back(cli: Line, line: Callable[..., Line]) -> None:
    stocked(cli)
    cli.ok("recall", "KIT", "3C001", "--hold", "--by", "AB")
    cli.ok("undo", "--why", "wrong product", "--by", "AB")
    assert cli.ask("recall", "KIT", "3C001")["not_held"] == 3


CODES = st.text("AB19", min_size=1, max_size=3)


@given(st.lists(CODES, max_size=12), CODES, CODES)
def test_a_range_means_codes_of_its_length_between_its_ends(codes: list[str], one: str, other: str) -> None:
    first, last = sorted((one, (other * 3)[: len(one)]))
    notice = Notice("KIT", first=first, last=last).checked()
    meant = {c for n, c in enumerate(codes) if notice.means(Lot(n, "KIT", c, None))}
    assert meant == {c for c in codes if len(c) == len(first) and first <= c <= last}


def test_lookalikes() -> None:
    assert lookalikes("3C001", ["3C001", "3c001", "3CO01", "3C-001", "3C0011", "8C001"]) == ["3C-001", "3CO01", "3c001"]
