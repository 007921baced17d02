"""The pages of the documentation as text: their parts by heading, their fenced blocks, the commands in these."""

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.rglob("*.md"))]

FENCE = re.compile(r"^ *```(.*?)\n(.*?)^ *```$", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True)
class Block:
    """A fenced block: its language, what stands behind that (a file's name), its text without indentation."""

    language: str
    name: str
    text: str


def blocks(text: str) -> list[Block]:
    found = []
    for told, body in FENCE.findall(text):
        language, _, name = told.strip().partition(" ")
        found.append(Block(language, name.strip(), "\n".join(line.strip() for line in body.splitlines())))
    return found


def parts(text: str, level: str) -> dict[str, str]:
    """Heading -> what stands under it, for headings of one level (``##``), up to the next of that level or above."""
    found: dict[str, list[str]] = {}
    here: list[str] | None = None
    fenced = False
    for line in text.splitlines():
        fenced ^= line.strip().startswith("```")
        mark, _, title = line.partition(" ")
        if not fenced and mark and set(mark) == {"#"} and len(mark) <= len(level):
            here = found.setdefault(title.strip(), []) if mark == level else None
        elif here is not None:
            here.append(line)
    return {title: "\n".join(lines) for title, lines in found.items()}


def commands(text: str) -> Iterator[list[str]]:
    """The command lines of all ``sh`` blocks, in order, as words: ``["export", "A=b"]`` or ``["stockroom", …]``."""
    for block in blocks(text):
        if block.language == "sh":
            for line in block.text.splitlines():
                if line:
                    yield shlex.split(line)


def rows(text: str) -> dict[str, list[str]]:
    """First cell, without its backticks -> the other cells, for every row of the tables in a text that begins with one."""
    found = {}
    for line in text.splitlines():
        cells = [c.strip() for c in line.strip().strip("|").split("|")] if line.startswith("|") else []
        if cells and cells[0].startswith("`"):
            found[cells[0].strip("`")] = cells[1:]
    return found


def prose(text: str) -> str:
    """A text without its line breaks, so that a sentence can be looked for."""
    return " ".join(text.split())
