"""What is wrong with a practice file, and on which line: the problem, where it stands, the sentence about it.

The standard reader of TOML does not tell lines once a text is well formed, so ``key_lines`` walks the text again.
It is only used once something is wrong, on a text that tomllib has accepted, so it checks nothing: it follows
tables, arrays of tables, dotted and quoted keys, arrays and inline tables, and steps over strings and comments, in
which a key may be named but does not stand.
"""

import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterable
from datetime import date, time
from typing import Any, NamedTuple

Path = tuple[str | int, ...]
"""The keys and the places in lists (from 0) that lead to a value: ("product", 1, "keep", "low")."""


class Problem(NamedTuple):
    """Something wrong at a path.

    ``kind`` is value (``said`` is what to write instead), missing (``said`` may say what
    for), unknown (``said`` hints at the nearest key), or twice (``other`` is where it stands first).
    """

    path: Path
    said: str = ""
    kind: str = "value"
    other: Path = ()


class Wrong(ValueError):
    """A value that cannot be: one sentence about it, or the problems further down. It never leaves the reading."""

    def __init__(self, said: str = "", below: Iterable[Problem] = ()) -> None:
        super().__init__(said)
        self.problems = [Problem((), said)] if said else list(below)

    def at(self, key: str | int) -> list[Problem]:
        """Its problems as problems of what the value stands in, under its key or place."""
        return [found._replace(path=(key, *found.path)) for found in self.problems]


def sentences(
    problems: Iterable[Problem], raw: dict[str, Any], text: str, name: str, naming: dict[str, str]
) -> list[str]:
    """One sentence a problem, in the order of the lines.

    ``raw`` is the text as tomllib read it, ``name`` the file's name, ``naming`` the key that names each kind of table.
    """
    lines = key_lines(text)
    told = sorted(problems, key=lambda problem: line_of(lines, problem.path))
    return [_sentence(problem, raw, f"{name} line {line_of(lines, problem.path)}", lines, naming) for problem in told]


def _sentence(problem: Problem, raw: dict[str, Any], where: str, lines: dict[Path, int], naming: dict[str, str]) -> str:
    """The sentence about one problem."""
    table, below = _table(problem.path, raw, naming)
    key = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in below)[1:]
    inside = f" in {table}" if table else ""
    if problem.kind == "unknown":
        return f'unknown key "{plain(key)}"{inside} ({where}){problem.said}'
    if problem.kind == "missing":
        why = f": {problem.said}" if problem.said else ""
        return f'missing key "{plain(key)}"{inside} ({where}){why}' if table else f"missing table [{key}] ({where})"
    value: Any = raw
    for part in problem.path:
        value = value[part]
    said = problem.said
    if problem.kind == "twice":
        said = f"it stands already on line {line_of(lines, problem.other)}, and upper and lower case count as one"
    return f"{plain(key)} = {_written(value)}{inside} ({where}): {said}"


def _table(path: Path, raw: dict[str, Any], naming: dict[str, str]) -> tuple[str, Path]:
    """How people call the table around a path (``[[product]] CK``), and the path inside it."""
    kind = str(path[0])
    if len(path) < 2:
        return "", path
    if not isinstance(path[1], int):
        return f"[{kind}]", path[1:]
    called = raw[kind][path[1]].get(naming[kind])
    return f"[[{kind}]] {plain(called) if isinstance(called, str) and called else f'number {path[1] + 1}'}", path[2:]


def plain(text: str) -> str:
    """Text from a file made fit for a message: nothing that cannot be seen, and not endless."""
    safe = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)
    return safe if len(safe) <= 80 else safe[:79] + "…"


def _written(value: Any) -> str:
    """A value much as it stands in the file."""
    if isinstance(value, str):
        return f'"{plain(value)}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return ("{ … }" if value else "{ }") if isinstance(value, dict) else "[ … ]" if value else "[ ]"
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, int) and abs(value) > 10**30:
        return "a number of more than 30 digits"
    return plain(str(value))


_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_KEY = re.compile(r'[ \t]*([A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|\'[^\']*\')[ \t]*(\.?)')
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\]|\\.)*"|\'[^\']*\'',
    re.DOTALL,
)
_BARE = re.compile(r"[^,\]}\n#]+")


def key_lines(text: str) -> dict[Path, int]:
    """The line, from 1, of every table, key and list item of a well-formed TOML text."""
    return _Walk(text.replace("\r\n", "\n")).lines


def line_of(lines: dict[Path, int], path: Path) -> int:
    """The line of a path, or of the nearest thing around it that has one (line 1 for nothing)."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 1)


class _Walk:
    """One pass over the text; ``at`` is the offset reached, ``lines`` what was found."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.lines: dict[Path, int] = {}
        self.ends = [found.start() for found in re.finditer("\n", text)]
        self.at = 0
        self.last: dict[Path, int] = {}
        """For each array of tables the place of its latest table."""
        table: Path = ()
        self.skip(_BLANK)
        while self.at < len(text):
            if text[self.at] == "[":
                table = self.header()
            else:
                self.assignment(table)
            self.skip(_BLANK)

    def skip(self, pattern: re.Pattern[str]) -> None:
        """Step over what matches here."""
        found = pattern.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def note(self, path: Path, offset: int) -> None:
        """Remember the line of an offset for a path that has none yet."""
        self.lines.setdefault(path, bisect_right(self.ends, offset - 1) + 1)

    def key(self) -> tuple[str, ...]:
        """A key with its dots, and the blanks behind it."""
        parts: list[str] = []
        while found := _KEY.match(self.text, self.at):
            self.at = found.end()
            quoted = found[1][0] in "\"'"
            parts.append(next(iter(tomllib.loads(f"{found[1]} = 0"))) if quoted else found[1])
            if not found[2]:
                break
        return tuple(parts)

    def header(self) -> Path:
        """``[a.b]`` or ``[[a.b]]``: the path that the lines below it belong to."""
        start = self.at
        brackets = 2 if self.text.startswith("[[", start) else 1
        self.at += brackets
        *around, name = self.key()
        self.at += brackets
        path: Path = ()
        for part in around:
            path = (*path, part)
            self.note(path, start)
            if path in self.last:
                path = (*path, self.last[path])
        path = (*path, name)
        if brackets == 2:
            self.note(path, start)
            self.last[path] = self.last.get(path, -1) + 1
            path = (*path, self.last[path])
        self.note(path, start)
        return path

    def assignment(self, table: Path) -> None:
        """``a.b = value``, in a table or between the braces of an inline one."""
        start = self.at
        path = table
        for part in self.key():
            path = (*path, part)
            self.note(path, start)
        self.at += 1
        self.skip(_BLANK)
        self.value(path)

    def value(self, path: Path) -> None:
        """Step over one value, noting what is inside it."""
        opening = self.text[self.at : self.at + 1]
        if opening not in ("[", "{"):
            self.skip(_STRING if opening in ('"', "'") else _BARE)
            return
        self.at += 1
        self.skip(_BLANK)
        place = 0
        while self.at < len(self.text) and self.text[self.at] not in "]}":
            if opening == "[":
                self.note((*path, place), self.at)
                self.value((*path, place))
            else:
                self.assignment(path)
            place += 1
            self.skip(_BLANK)
            self.at += self.text.startswith(",", self.at)
            self.skip(_BLANK)
        self.at += 1
