"""A command starts with what it needs and no more; and its one error door."""

import subprocess
import sys

import pytest
from conftest import Line

from stockroom.cli import main as door

pytestmark = pytest.mark.long  # what a command loads is the same on a server, but for the driver


def loaded(code: str) -> set[str]:
    text = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print(' '.join(sys.modules))"],
        check=True,
        capture_output=True,
        text=True,
    )
    return set(text.stdout.split())


def test_help_loads_no_database_no_tables_no_numbers() -> None:
    names = loaded("import stockroom.cli.main")
    heavy = {"sqlalchemy", "alembic", "rich", "numpy", "dateutil", "pydantic", "sqlite3", "platformdirs", "zoneinfo"}
    assert not heavy & {n.split(".")[0] for n in names}


def test_an_everyday_command_loads_no_migrations(cli: Line) -> None:
    code = f"from stockroom.cli.main import main; assert main(['--db', {cli.where!r}, 'stock', 'list']) == 0"
    names = {n.split(".")[0] for n in loaded(code)}
    assert "sqlalchemy" in names
    assert not {"alembic", "dateutil", "scipy", "pandas", "matplotlib", "jinja2"} & names


@pytest.mark.parametrize(
    ("words", "allowed"),
    [
        (["fridge", "check"], set()),
        (["fridge", "chart"], set()),
        (["fridge", "log", "4", "--fridge", "Cold two", "--by", "AB"], set()),
        (["today"], set()),
        (["fridge", "sheet", "--month", "2026-02", "--out", "x.html", "--as-of", "2026-02-20"], {"jinja2"}),
        (["warmup", "list"], set()),
        (["warmup", "list", "--out", "x.html"], {"jinja2"}),
        (["booking", "done", "--by", "AB"], set()),
        (["warmup", "labels", "--out", "x.html"], set()),  # no kit is out: there is nothing to draw
        (["fridge", "chart", "--out", "x.svg"], {"matplotlib", "dateutil"}),
        (["warmup", "calendar", "--out", "x.out"], {"icalendar", "dateutil"}),
        (["warmup", "check"], set()),
        (["reorder", "list"], set()),
        (["reorder", "accuracy"], set()),
        (["booking", "add", "white", "--start", "2099-03-05T10:00", "--patient", "P-1", "--by", "AB"], set()),
        (["booking", "import", "x.csv", "--by", "AB"], set()),
        (["booking", "import", "x.ics", "--by", "AB"], set()),
        (
            [
                "stock",
                "receive",
                "KIT",
                "--lot",
                "A",
                "--expiry",
                "2099-01-31",
                "--quantity",
                "1",
                "--into",
                "Cold one",
                "--by",
                "AB",
            ],
            set(),
        ),
        (["stock", "code", "A99912345", "KIT", "--units", "1", "--by", "AB"], set()),
        (["stock", "codes"], set()),
        (
            [
                "stock",
                "receive",
                "KIT",
                "--scan",
                "+A99912345/$$52001510X33",
                "--quantity",
                "1",
                "--into",
                "Cold one",
                "--by",
                "AB",
            ],
            set(),
        ),
        (
            [
                "stock",
                "receive",
                "KIT",
                "--scan",
                "01095201234567881727123110A",
                "--quantity",
                "1",
                "--into",
                "Cold one",
                "--by",
                "AB",
            ],
            {"biip"},
        ),
    ],
)
def test_only_what_draws_loads_what_it_draws_with(cli: Line, words: list[str], allowed: set[str]) -> None:
    cli.file("x.csv", "id,procedure,start,patient\nK1,white,2099-03-05T10:00,P-1\n")
    cli.file(
        "x.ics",
        "BEGIN:VCALENDAR\nBEGIN:VEVENT\nUID:1\nDTSTART:20990305T100000\nSUMMARY:white patient=P-1\nEND:VEVENT\nEND:VCALENDAR\n",
    )
    words = [str(cli.folder / w) if w.startswith("x.") else w for w in words]
    code = f"from stockroom.cli.main import main; assert main(['--db', {cli.where!r}, *{words!r}]) in (0, 1)"
    found = loaded(code)
    assert {n.split(".")[0] for n in found} & {
        "jinja2",
        "segno",
        "matplotlib",
        "alembic",
        "scipy",
        "pandas",
        "icalendar",
        "dateutil",
        "biip",
    } == allowed
    assert "matplotlib.pyplot" not in found


def test_the_help_of_every_command_is_there(cli: Line) -> None:
    said = cli("--help")
    assert said.code == 0
    for word in (
        "fridge",
        "stock",
        "booking",
        "warmup",
        "reorder",
        "trace",
        "records",
        "practice",
        "today",
        "demo",
        "init",
        "undo",
        "database",
    ):
        assert word in said.out
    assert cli("fridge", "--help").code == 0
    assert cli().code == 2


def test_a_defect_ends_at_70_with_what_to_do(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    from stockroom.tasks import list_stock

    def broken(*args: object, **kwargs: object) -> None:
        raise ZeroDivisionError("seven")

    monkeypatch.setattr(list_stock, "list_stock", broken)
    said = cli("stock", "list")
    assert said.code == 70
    assert said.out == ""
    assert "ZeroDivisionError: seven" in said.err
    assert "defect in the program" in said.err


def test_an_interruption_ends_at_130(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    from stockroom.tasks import list_stock

    def interrupted(*args: object, **kwargs: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(list_stock, "list_stock", interrupted)
    assert cli("stock", "list").code == 130


def test_a_negative_number_is_never_taken_for_an_option() -> None:
    from stockroom.cli.job import Job

    job = Job(0, "")
    assert door.prepared(["fridge", "log", "-0.4", "--min", "-1", "--db", "x.db"], job) == [
        "fridge",
        "log",
        "−0.4",
        "--min",
        "−1",
    ]
    assert job.where == "x.db"


def test_a_list_of_stock_loads_no_numbers(cli: Line) -> None:
    code = f"from stockroom.cli.main import main; assert main(['--db', {cli.where!r}, 'stock', 'list']) == 0"
    assert "numpy" not in loaded(code)
