"""What many tests share: a practice of the tests' own, a database on SQLite and one on PostgreSQL, and a command line.

Every database is a real one: a file, or a server started for the tests. Nothing is mocked but the clock. With
STOCKROOM_TESTS_ON=postgresql every practice lies on the server; DEVELOPERS.md says what runs then.
"""

import contextlib
import io
import json
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from databases import USUAL_AT, lent, started
from freezegun import freeze_time

from stockroom.cli.main import main
from stockroom.store.engine import closed

HERE = Path(__file__).parent
ON = os.environ.get("STOCKROOM_TESTS_ON") or "sqlite"
assert ON in ("sqlite", "postgresql"), f"STOCKROOM_TESTS_ON is {ON}: sqlite or postgresql"
ON_SERVER = ON == "postgresql"

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


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """On the server runs again what uses a practice's database, whatever holds it: not what runs on both in any case. What
    takes long begins first, so that nobody waits for it alone in the end.
    """
    items.sort(key=lambda item: not any(item.get_closest_marker(name) for name in ("long", "wheel")))
    if not ON_SERVER:
        return
    kept, left = [], []
    for item in items:
        uses = set(getattr(item, "fixturenames", ()))
        again = "database" in uses and not uses & {"where", "server"} and not item.get_closest_marker("sqlite_file")
        (kept if again else left).append(item)
    config.hook.pytest_deselected(items=left)
    items[:] = kept


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The address of a PostgreSQL server of the tests' own, without a database name."""
    with started() as address:
        yield address


@pytest.fixture
def on_server(request: pytest.FixtureRequest) -> Iterator[str]:
    """The address of a new, empty PostgreSQL database."""
    with lent(request.getfixturevalue("server")) as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A database to be made: a file, and a database on a server."""
    if request.param == "sqlite":
        return str(tmp_path / "practice.db")
    return str(request.getfixturevalue("on_server"))


Lender = Callable[..., AbstractContextManager[str]]


@pytest.fixture(scope="session")
def database(request: pytest.FixtureRequest) -> Lender:
    """Lends a database to be made: ``with database(folder) as where``, a file in the folder or a database on the server."""
    if ON_SERVER:
        server = request.getfixturevalue("server")
        return lambda folder, name="": lent(server)
    return lambda folder, name="practice.db": contextlib.nullcontext(str(folder / name))


@pytest.fixture
def address(tmp_path: Path, database: Lender) -> Iterator[str]:
    """A database to be made, for what makes its own practice."""
    with database(tmp_path) as where:
        yield where


@pytest.fixture(scope="session")
def usual(server: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A database on the server with the tests' practice in it: a copy of it is there sooner than another one is made."""
    with lent(server) as where:
        begun(Line(where, tmp_path_factory.mktemp("usual")), PRACTICE, USUAL_AT)
        closed(where)
        yield where


def begun(made: Line, practice: str, at: str) -> Line:
    """The line's database, made with a practice in it."""
    made.file("practice.toml", practice)
    assert made("init", "practice.toml", now=at).code == 0
    return made


@pytest.fixture
def line(tmp_path: Path, database: Lender, request: pytest.FixtureRequest) -> Iterator[Callable[..., Line]]:
    """Makes a command line over a new database with a practice in it: SQLite's, or where the tests run on it the server's."""
    with contextlib.ExitStack() as lending:

        def make(
            practice: str = PRACTICE, where: str | None = None, at: str = USUAL_AT, name: str = "practice.db"
        ) -> Line:
            if where is None and ON_SERVER and (practice, at) == (PRACTICE, USUAL_AT):
                server, like = (request.getfixturevalue(n) for n in ("server", "usual"))
                made = Line(lending.enter_context(lent(server, like)), tmp_path)
                made.file("practice.toml", practice)
                return made
            return begun(Line(where or lending.enter_context(database(tmp_path, name)), tmp_path), practice, at)

        yield make


@pytest.fixture
def both(where: str, tmp_path: Path, line: Callable[..., Line]) -> Line:
    """A command line with the tests' practice, once on SQLite and once on PostgreSQL."""
    return line(where=where)


@pytest.fixture
def cli(line: Callable[..., Line]) -> Line:
    """A command line with the tests' practice on SQLite, or where the tests run on it on PostgreSQL."""
    return line()
