"""A page is made unasked, whenever enough was recorded, and proved and mended like all that is derived."""

from collections.abc import Callable

import pytest
from conftest import Line
from databases import changed, peeked

from stockroom.store.engine import opened
from stockroom.store.open_page import page_of
from stockroom.tasks import page_due


def entries_of_page(cli: Line) -> int | None:
    with opened(cli.where).reading() as conn:
        page = page_of(conn)
        return None if page is None else page.entries


def received(cli: Line, lot: str) -> None:
    cli.ok("stock", "receive", "KIT", "--lot", lot, "--expiry", "2027-01", "--quantity", 1, "--into", "Cold one")


def test_a_page_is_made_once_enough_was_recorded(both: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_due, "STEP", 3)
    seen = []
    for n in range(6):
        received(both, f"A{n}")
        seen.append(entries_of_page(both))
    # derived: the practice file is entry 1; the page is made at entry 3, and at 6 again
    assert seen == [None, 3, 3, 3, 6, 6]
    assert both.ask("records", "verify")["faults"] == []


def test_a_logger_file_is_enough_for_a_page(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_due, "READINGS", 10)
    rows = "".join(f"2026-03-01T{h:02}:00:00Z,4.0\n" for h in range(12))
    cli.ok("fridge", "import", cli.file("log.csv", "timestamp,celsius\n" + rows), "--fridge", "Cold one")
    assert entries_of_page(cli) == 2


def test_a_look_makes_none(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_due, "STEP", 1)
    cli.ok("today")
    assert entries_of_page(cli) is None


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE open_page SET body = replace(body, '\"living\":[1', '\"living\":[')",
        "UPDATE open_page SET hash = 'x'",
        "UPDATE open_page SET id = 2",
    ],
)
def test_a_page_that_was_altered_is_named_and_not_used(
    line: Callable[..., Line], monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    cli = line()
    received(cli, "A1")
    before = cli.ask("today")
    monkeypatch.setattr(page_due, "STEP", 1)
    received(cli, "A2")
    received(cli, "A3")
    page = peeked(cli.where, "SELECT * FROM open_page")
    changed(cli.where, change)
    assert peeked(cli.where, "SELECT * FROM open_page") != page
    assert cli.ask("stock", "list")["lots"][0]["lot"] == "A1"
    assert [f["what"] for f in cli.ask("today")["assistant"]] == [f["what"] for f in before["assistant"]]
    assert cli.ask("records", "verify")["faults"] == ["what is open is not kept as it was brought forward"]
    cli.ok("database", "rebuild")
    assert cli.ask("records", "verify")["faults"] == []


def test_a_page_that_hides_something_is_named_though_it_is_sealed(cli: Line) -> None:
    # Who can write the file can seal a page of their own: what it leaves out is found by reading everything.
    from dataclasses import replace

    from stockroom.store.open_page import keep_page
    from stockroom.tasks.bring_forward import page_anew

    received(cli, "A1")
    with opened(cli.where).deriving() as conn:
        page_anew(conn)
        page = page_of(conn)
        assert page is not None and page.living
        keep_page(conn, replace(page, living=frozenset()))
    assert cli.ask("stock", "list", now="2026-03-02T10:00:00+00:00")["lots"] == []
    faults = cli.ask("records", "verify")["faults"]
    assert faults == [
        "lots: what is kept as open is not what is open",
        "Cold one: what is kept as open is not what is open",
    ]
