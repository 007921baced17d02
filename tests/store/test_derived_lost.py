"""What is kept beside the readings is no record: where another program drops or spoils it, that is said and mended."""

import pytest
from conftest import Line
from databases import changed

LOOKS = (("fridge", "check"), ("trace", "lot", "KIT", "A1"), ("today",), ("fridge", "chart"), ("records", "verify"))


def warm_stock(line: Line) -> None:
    """Four kits that stood through an hour at 9 °C, and a day of readings beside it."""
    line.ok(
        "stock", "receive", "KIT", "--lot", "A1", "--expiry", "2026-12-31", "--quantity", 4, "--into", "Cold one",
        "--at", "2026-03-01T08:00",
    )  # fmt: skip
    rows = "".join(f"2026-03-01T{h:02}:00:00Z,{9.0 if h == 10 else 4.0}\n" for h in range(8, 24))
    line.file("log.csv", "timestamp,celsius\n" + rows)
    line.ok("fridge", "import", "log.csv", "--fridge", "Cold one")


@pytest.mark.parametrize("table", ["spell", "line_scan", "day_summary", "reading_span", "open_page"])
def test_a_table_that_was_dropped_is_named_and_made_again(both: Line, table: str) -> None:
    warm_stock(both)
    before = both.ask("trace", "lot", "KIT", "A1")["exposure"]
    changed(both.where, f"DROP TABLE {table}")
    for command in (*LOOKS, ("fridge", "log", "4.0", "--fridge", "Cold one")):
        said = both(*command)
        assert said.code in (0, 1, 4), (command, said)
        assert said.code != 4 or "stockroom database rebuild" in said.err
    assert both("records", "verify").code == 4
    both.ok("database", "rebuild")
    assert both("records", "verify").code == 0
    assert both.ask("trace", "lot", "KIT", "A1")["exposure"] == before


@pytest.mark.sqlite_file  # a server keeps no text where a number belongs
@pytest.mark.parametrize(
    "change",
    [
        "UPDATE spell SET start_at = 'abc'",
        "UPDATE spell SET degree_minutes = 9e999",
        "UPDATE spell SET extreme = x'00'",
        "UPDATE line_scan SET settle = 'x'",
        "UPDATE day_summary SET low = 'abc'",
        "UPDATE day_summary SET integral = 9e999",
        "UPDATE day_summary SET max_gap = 'x'",
        "CREATE TABLE loose AS SELECT * FROM spell; DROP TABLE spell; ALTER TABLE loose RENAME TO spell; "
        "UPDATE spell SET start_at = NULL",
    ],
)
def test_what_is_no_number_is_no_defect_of_the_program(cli: Line, change: str) -> None:
    warm_stock(cli)
    changed(cli.where, change)
    for command in LOOKS:
        said = cli(*command)
        assert said.code in (0, 1, 4), (command, said)
        assert said.code != 4 or "stockroom database rebuild" in said.err
    assert cli("records", "verify").code != 0
    cli.ok("database", "rebuild")
    assert cli("records", "verify").code == 0


def test_a_record_that_was_dropped_is_damage(cli: Line) -> None:
    warm_stock(cli)
    changed(cli.where, "DROP TABLE hand_check")
    said = cli("fridge", "check")
    assert said.code == 4 and "is damaged" in said.err and "restore" in said.err
