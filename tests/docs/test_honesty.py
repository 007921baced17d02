"""What no file of the project may hold, and what may stand at its top. Source: the project's own rules.

The words that are looked for are put together here, so that this file does not hold them itself.
"""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SKIPPED = {".git", ".venv", "dist", "build", "node_modules", "stockroom-demo", "__pycache__"}
"""Not the project's own files: version control, environments, what is built, the demo that the README makes here."""
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "stockroom", "migrations", "tests", "sample_data", "docs"}

REGISTRIES = [
    "py" + "pi.org",
    "python" + "hosted.org",
    "npm" + "js.",
    "crates" + ".io",
    "ana" + "conda.org",
    "ruby" + "gems.org",
]
MACHINES = [
    r"(?<![\w.])/" + "work" + "/",
    r"(?<![\w.])/" + r"home/[\w.-]+/",
    r"(?<![\w.])/" + r"root/[\w.-]+",
    r"\b[A-Z]:\\" + r"Users\\",
]
UNFINISHED = [
    rf"\b{'TO' + 'DO'}\b",
    rf"\b{'FIX' + 'ME'}\b",
    rf"\b{'XX' + 'X'}\b",
    rf"(?i)\b{'lor' + 'em'}\b",
    rf"(?i)\b{'ip' + 'sum'}\b",
]
FORBIDDEN = [re.compile(p) for p in (*map(re.escape, REGISTRIES), *MACHINES, *UNFINISHED)]


def skipped(name: str) -> bool:
    return (
        name in SKIPPED
        or name.endswith(".egg-info")
        or (name.startswith(".") and name.endswith("_cache"))
        or name == ".hypothesis"
    )


def files(folder: Path = ROOT) -> Iterator[Path]:
    """Every file of the project, what is made beside it left out."""
    for place, below, names in os.walk(folder):
        below[:] = [d for d in below if not skipped(d)]
        for name in names:
            if (
                not skipped(name)
                and not name.startswith(".coverage")
                and not name.endswith((".db", ".db-wal", ".db-shm", ".pyc"))
            ):
                yield Path(place) / name


def faults(text: str) -> list[str]:
    return [found[0] for pattern in FORBIDDEN if (found := pattern.search(text))]


def test_no_file_holds_what_none_may_hold() -> None:
    read = 0
    found: dict[str, list[str]] = {}
    for path in files():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        read += 1
        if wrong := faults(text):
            found[str(path.relative_to(ROOT))] = wrong
    assert read > 100
    assert found == {}


@pytest.mark.parametrize(
    "text",
    [
        "https://" + "py" + "pi.org/simple",
        "files.python" + "hosted.org",
        "see /" + "work/main/x",
        'open("/' + 'home/ab/x.csv")',
        "# TO" + "DO: later",
        "FIX" + "ME",
        "Lor" + "em ip" + "sum",
    ],
)
def test_the_search_finds_what_it_looks_for(text: str) -> None:
    assert faults(text)


def test_nothing_else_stands_at_the_top() -> None:
    there = {p.name for p in ROOT.iterdir() if not skipped(p.name) and not p.name.startswith(".")}
    assert {n for n in there if not n.endswith((".db", ".db-wal", ".db-shm"))} == TOP
