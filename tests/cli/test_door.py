"""Paper beside the fridge: the sheet for its door, and labels whose square code the commands take as it is scanned."""

import html
import re
from typing import Any

import numpy as np
import pytest
import zxingcpp
from conftest import Line

from stockroom.core.kit_mark import mark, said


def stocked(line: Line, lot: str = "A/1 b", n: int = 6) -> None:
    line.ok(
        "stock", "receive", "KIT", "--lot", lot, "--expiry", "2026-12-31", "--quantity", n, "--into", "Cold one",
        "--at", "2026-03-01T08:00",
    )  # fmt: skip


def booked(line: Line, *starts: str) -> None:
    for n, start in enumerate(starts, 1):
        line.ok("booking", "add", "white", "--start", start, "--patient", f"P-70{n}")


def picture(svg: str) -> Any:
    """A page's own path of a square code as grey values, 8 to a module: what a scanner would see.

    segno draws runs of modules: ``M x y`` begins, ``h n`` draws n modules to the right at that height, ``m`` moves.
    """
    size = int(re.search(r'viewBox="0 0 (\d+) \d+"', svg)[1])  # type: ignore[index]
    grid = np.full((size, size), 255, np.uint8)
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([-0-9. ]+)", re.search(r'\bd="(.*?)"', svg)[1]):  # type: ignore[index]
        values = [float(v) for v in re.findall(r"-?[0-9.]+", numbers)]
        if command == "h":
            grid[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
        else:
            x, y = (values[0], values[1]) if command == "M" else (x + values[0], y + values[1])
    return np.kron(grid, np.ones((8, 8), np.uint8))


def scanned(page: str) -> list[str]:
    """Every square code of a page, read by a second library."""
    return [zxingcpp.read_barcodes(picture(svg))[0].text for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL)]


def test_the_sheet_for_the_door(cli: Line) -> None:
    stocked(cli, "A<1>")
    booked(cli, "2026-03-04T10:00", "2026-03-04T12:00", "2026-03-09T09:00")
    said = cli("warmup", "list", "--day", "2026-03-03", "--out", "door.html", "--json")
    # derived: 24 h before 10:00 and 12:00
    assert [
        (r["by"], r["place"], r["product"], r["lot"], r["expiry"], r["booking"]) for r in said.json["take_out"]
    ] == [
        ("2026-03-03T09:00:00Z", "Cold one", "KIT", "A<1>", "2026-12-31", "B-1"),
        ("2026-03-03T11:00:00Z", "Cold one", "KIT", "A<1>", "2026-12-31", "B-2"),
    ]
    assert said.json["file"] == "door.html"
    page = (cli.folder / "door.html").read_text(encoding="utf-8")
    cells = [html.unescape(c) for c in re.findall(r"<td.*?>(.*?)</td>", page)]
    assert cells[:6] == ["by 10:00", "Cold one", "KIT", "A<1>", "2026-12-31", "B-1"]
    assert page.count('class="box"') == 2 and "<th>initials</th>" in page
    assert "P-70" not in page + cli("warmup", "list", "--day", "2026-03-03").out  # never a patient
    assert "Do not use if the seal is broken." in page
    assert not re.search(r"https?:|<script|<link|<img", page)
    # derived: 72 h before the end at 10:45 on Monday is Friday 10:45; staffed until 16:00
    assert cli.ask("warmup", "list", "--day", "2026-03-06")["take_out"][0]["booking"] == "B-3"
    shown = cli("warmup", "list", "--day", "2026-03-06").out
    assert "10:45–16:00" in shown and "B-3" in shown
    assert (
        "Nothing to take out"
        in (cli.ok("warmup", "list", "--out", "none.html"), cli.folder / "none.html")[1].read_text()
    )


def test_the_door_sheet_on_the_screen_fits_80_columns(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.get_terminal_size", lambda *_: __import__("os").terminal_size((80, 24)))
    stocked(cli, "LOT-2026-0031")
    booked(cli, "2026-03-04T10:00")
    out = cli("warmup", "list", "--day", "2026-03-03").out
    (row,) = [x for x in out.splitlines() if "B-1 " in x and "[ ]" in x]
    assert max(map(len, out.splitlines())) <= 80
    assert re.split(r"  +", row) == ["by 10:00", "Cold one", "KIT", "LOT-2026-0031", "2026-12-31", "B-1", "[ ] ____"]


def test_a_scanned_label_is_taken_wherever_a_kit_is_named(both: Line) -> None:
    stocked(both)
    booked(both, "2026-03-04T10:00", "2026-03-04T12:00")
    for n in (1, 2):
        both.ok("warmup", "pull", f"B-{n}", now="2026-03-03T08:30:00+00:00")
    both.ok("warmup", "pull", "--product", "KIT", "--lot", "A/1 b", now="2026-03-03T08:40:00+00:00")
    both.now = "2026-03-03T09:00:00+00:00"
    made = both.ask("warmup", "labels", "--out", "labels.html")
    assert [(x["pull"], x["booking"], x["lot"]) for x in made["labels"]] == [
        ("P-1", "B-1", "A/1 b"), ("P-2", "B-2", "A/1 b"), ("P-3", None, "A/1 b"),
    ]  # fmt: skip
    # derived: 24 h and 72 h after 08:30 UTC
    assert (made["labels"][0]["ready_at"], made["labels"][0]["use_by"]) == (
        "2026-03-04T08:30:00Z",
        "2026-03-06T08:30:00Z",
    )
    assert (made["width_mm"], made["height_mm"]) == (70.0, 37.1)
    page = (both.folder / "labels.html").read_text(encoding="utf-8")
    assert "P-70" not in page and not re.search(r"https?://(?!www.w3.org/2000/svg)|<script|<link|<img", page)
    for word in (
        "B-1 · P-1",
        "no booking · P-3",
        "KIT lot A/1 b",
        "Wed 4 Mar 09:30",
        "Fri 6 Mar 09:30",
        "Only time is known",
    ):
        assert word in page
    one, two, three = scanned(page)
    assert (one, two, three) == ("P-1.A1b", "P-2.A1b", "P-3.A1b") == tuple(x["code"] for x in made["labels"])
    assert both.ask("trace", "lot", one)["lot"] == "A/1 b"
    assert both.ask("warmup", "promise", three, "B-2")["booking"] == "B-2"
    assert both.ask("warmup", "labels", three, "--out", "x.html")["labels"][0]["booking"] == "B-2"
    assert both.ask("stock", "quarantine", "KIT", "A/1 b", "--why", "fell", "--place", two)["quantity"] == 1
    assert both.ask("stock", "discard", "--pull", two, "--why", "fell", "--by", "AB")["pull"] == "P-2"
    assert both.ask("warmup", "back", three)["pull"] == "P-3"
    both.now = "2026-03-04T12:00:00+00:00"
    assert [u["pull"] for u in both.ask("booking", "done", "B-1", "--pull", one)["used"]][:1] == ["P-1"]


def test_a_label_of_another_practice_is_not_taken_for_a_kit_of_this_one(cli: Line) -> None:
    stocked(cli, "A1")
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", now="2026-03-02T08:00:00+00:00")
    said = cli("warmup", "back", "P-1.7J077")
    assert said.code == 3 and "A1" in said.err
    assert cli("trace", "lot", "KIT").code == 3 and cli("trace", "lot", "P-9").code == 3
    assert cli("warmup", "labels", "P-9", "--out", "x.html").code == 3
    assert cli("stock", "move", "KIT", "A1", "--quantity", 1, "--from", "Cold one", "--to", "P-1.A1").code == 3


def test_which_labels_and_where_on_the_sheet(cli: Line) -> None:
    stocked(cli, "A1")
    assert cli.ask("warmup", "labels", "--out", "none.html")["labels"] == []
    assert not (cli.folder / "none.html").exists()
    for day in (3, 4):
        cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", now=f"2026-03-0{day}T08:00:00+00:00")
    cli.now = "2026-03-04T09:00:00+00:00"
    assert [
        x["pull"]
        for x in cli.ask("warmup", "labels", "--day", "tue", "--as-of", "2026-03-04T09:30", "--out", "x.html")["labels"]
    ] == []
    assert [x["pull"] for x in cli.ask("warmup", "labels", "--day", "2026-03-03", "--out", "x.html")["labels"]] == [
        "P-1"
    ]
    cli.ok("warmup", "labels", "--columns", 2, "--rows", 7, "--skip", 13, "--out", "x.html")
    pages = (cli.folder / "x.html").read_text().split('<div class="page">')[1:]
    assert [(p.count("<div></div>"), p.count('class="label"')) for p in pages] == [(13, 1), (0, 1)]
    for bad in (("--columns", 9), ("--rows", 0), ("--skip", 24)):
        assert cli("warmup", "labels", *bad, "--out", "x.html").code == 3


def test_a_held_kit_says_so_on_its_label(cli: Line) -> None:
    stocked(cli, "A1")
    cli.ok("warmup", "pull", "--product", "KIT", "--lot", "A1", now="2026-03-02T08:00:00+00:00")
    cli.ok("stock", "quarantine", "KIT", "A1", "--why", "looks odd", "--place", "P-1")
    said = cli("warmup", "labels", "--out", "x.html")
    assert said.code == 1 and "DO NOT USE" in (cli.folder / "x.html").read_text()


@pytest.mark.parametrize(
    ("lot", "text"),
    [("A1", "P-7.A1"), ("7J-077/b", "P-7.7J077b"), ("ÄÖ—", "P-7"), ("L" * 40 + "X9", "P-7.LLLLLLLLX9"), ("", "P-7")],
)
def test_what_stands_in_the_square_code(lot: str, text: str) -> None:
    assert mark(7, lot) == text
    read = said(text)
    assert read is not None and read[0] == 7
    assert re.fullmatch(r"[A-Za-z0-9.-]+", text)  # nothing that a shell or a prompt would take for more than a word


@pytest.mark.parametrize("text", ["P-", "P-7.", "P-7.A 1", "B-7", "P-7;x", "P-1234567890", ""])
def test_what_is_no_kit(text: str) -> None:
    assert said(text) is None
