"""The demo's database, and a folder to work in, for the tests of the documentation."""

import contextlib
import io
import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import ON_SERVER, Lender
from databases import lent

from stockroom.cli.main import main
from stockroom.store.backup import copied
from stockroom.store.engine import closed

SAMPLE = Path(__file__).parents[2] / "sample_data"


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's database, made once for all workers."""
    shared = tmp_path_factory.getbasetemp()
    shared = shared.parent if "PYTEST_XDIST_WORKER" in os.environ else shared
    made, turn = shared / "demo" / "stockroom.db", shared / "demo.lock"
    with waiting(turn):
        if not made.exists():
            begun = shared / "begun"
            with contextlib.redirect_stdout(io.StringIO()):
                assert main(["demo", str(begun)]) == 0
            begun.rename(made.parent)
    return made


@pytest.fixture(scope="session")
def told(demo: Path, database: Lender) -> Iterator[str]:
    """The demo's database to look at: the file, or what it is after a move to the server on which the tests run."""
    if not ON_SERVER:
        yield str(demo)
        return
    with database(demo.parent) as where, contextlib.redirect_stdout(io.StringIO()):
        assert main(["--db", str(demo), "records", "copy", "--to", where]) == 0
        yield where


@pytest.fixture
def own(told: str, folder: Path) -> Iterator[str]:
    """A copy of it to record in: a file where the demo would have made it, or a database on the server."""
    if ON_SERVER:
        closed(told)
        with lent(told, told) as where:
            yield where
        return
    made = folder / "stockroom-demo" / "stockroom.db"
    made.parent.mkdir()
    copied(Path(told), made)
    yield str(made)


@contextlib.contextmanager
def waiting(turn: Path) -> Iterator[None]:
    """One worker at a time: whoever can make the folder goes first."""
    for _ in range(3000):
        with contextlib.suppress(FileExistsError):
            turn.mkdir()
            break
        time.sleep(0.1)
    try:
        yield
    finally:
        turn.rmdir()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of sample_data to work in, without anybody's settings."""
    for name in ("STOCKROOM_DB", "STOCKROOM_BY", "STOCKROOM_SITE"):
        monkeypatch.delenv(name, raising=False)
    place = tmp_path / "sample_data"
    shutil.copytree(SAMPLE, place)
    monkeypatch.chdir(place)
    return place
