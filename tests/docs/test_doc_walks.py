"""Every command that a page shows is run, in order, on a real database: the demo's, or one that the page makes.

Source of the expectations: the pages themselves; a command may answer 0 or 1, anything else is a fault of the page.
"""

import contextlib
import io
from pathlib import Path

import pytest
from doc_pages import DOCS, ROOT, blocks, commands, parts

from stockroom.cli.main import main
from stockroom.store.engine import is_server

pytest_plugins = ("doc_demo",)
TOO_LONG = [["stockroom", "demo"]]
"""Run once for all pages by the fixture, and by the tests of the demo itself."""


def run(text: str, monkeypatch: pytest.MonkeyPatch, where: str | None = None) -> int:
    """Runs the commands of a page, on another database than the page names where one is given; how many there were."""
    for block in blocks(text):
        if block.name:
            Path(block.name).write_text(block.text + "\n", encoding="utf-8")
    number = 0
    for words in commands(text):
        if words[0] == "export":
            name, _, value = words[1].partition("=")
            monkeypatch.setenv(name, where if where and name == "STOCKROOM_DB" else value)
            continue
        assert words[0] == "stockroom", words
        if words in TOO_LONG:
            continue
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(words[1:])
        assert code in (0, 1), (" ".join(words), code, err.getvalue())
        assert out.getvalue().strip(), words
        number += 1
    return number


def test_the_walk_of_the_readme_runs_on_the_demos_database(
    own: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "stockroom-demo").mkdir(exist_ok=True)
    walked = parts((ROOT / "README.md").read_text(encoding="utf-8"), "##")["Five minutes for each role"]
    assert run(walked, monkeypatch, own if is_server(own) else None) >= 15


@pytest.mark.parametrize("page", ["assistant", "scheduler", "manager"])
def test_every_command_of_a_roles_page_runs(page: str, own: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STOCKROOM_DB", own)
    assert run((DOCS / f"{page}.md").read_text(encoding="utf-8"), monkeypatch) >= 8


@pytest.mark.usefixtures("folder")
def test_every_example_of_the_commands_page_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    assert run((DOCS / "commands.md").read_text(encoding="utf-8"), monkeypatch) >= 45
