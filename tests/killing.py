"""Every command that writes, killed at random moments: what is there afterwards is what was there before, or all of it.

The commands are those of docs/commands.md, in the order in which they stand there; another test holds that every command
has an example. Before each that writes the practice is kept as it stands. A trial takes a copy of that, runs the command, kills
it with SIGKILL at a moment drawn from the time that it needs, and looks. Source of the expectations: the program's own promise.
"""

import json
import os
import random
import shlex
import shutil
import sqlite3
import sys
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

import typer
from forked import Ran, Warm

from stockroom.cli.main import app

HERE = Path(__file__).parent
sys.path.append(str(HERE / "docs"))

from doc_pages import DOCS, blocks, commands  # noqa: E402

BY = "MO"
BESIDE: dict[str, list[str]] = {
    "records restore": ["fridge log 4.1 --fridge 'Surgery fridge' --min 3.9 --max 4.4 --at 2026-01-29T09:25"],
    "undo": ["recall ARCH 7H311 --notice 'letter of 2 February' --hold --by KE"],
}
"""Lines that the page does not have, before its line of that command: something that a restore takes away, and a recall that
records."""
MADE = {
    "records backup": "copy.db",
    "records export": "out",
    "records import": "imported.db",
    "records copy": "moved.db",
}
"""What a command makes beside the database."""
NOT_HERE = {"demo", "database upgrade", "database rights"}
"""Two are killed in tests of their own: they begin from something else than a practice of today. The third only prints."""


def tree(command: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """("fridge log", command) for every command that can be typed."""
    below = getattr(command, "commands", None)
    if below is None:
        yield " ".join(path), command
    for name, inner in (below or {}).items():
        yield from tree(inner, (*path, name))


def writing() -> set[str]:
    """Every command that may write: those that take no moment to look at, and those that want to know who."""
    options = {name: {p.name for p in c.params} for name, c in tree(typer.main.get_command(app))}
    return {name for name, names in options.items() if "as_of" not in names or "by" in names}


@dataclass(frozen=True)
class Seen:
    """A database, or an export, looked at: the number of its entries (None: there is none), its head, what is wrong with it."""

    entries: int | None
    head: str = ""
    wrong: tuple[str, ...] = ()


@dataclass
class Step:
    """One command to kill: its words, the practice before it, how long it took, what it left (by what it left it in)."""

    command: str
    words: list[str]
    state: Any
    seconds: float
    before: dict[str, Seen]
    after: dict[str, Seen] = field(default_factory=dict)


class Files:
    """Practices in SQLite files: a state is a folder."""

    where = "mine.db"

    def __init__(self, folder: Path) -> None:
        self.folder, self.number = folder, 0
        folder.mkdir()

    def begun(self) -> Path:
        return self._new()

    def copied(self, state: Path) -> Path:
        return shutil.copytree(state, self._new(), copy_function=_linked, dirs_exist_ok=True)

    def where_of(self, state: Path) -> str:
        return self.where

    def folder_of(self, state: Path) -> Path:
        return state

    def forgotten(self, state: Path) -> None:
        shutil.rmtree(state)

    def _new(self) -> Path:
        self.number += 1
        made = self.folder / f"{self.number}"
        made.mkdir()
        return made


class OnServer(Files):
    """Practices on a server: a state is a folder with the files that commands name, and a database of that folder's name."""

    def __init__(self, folder: Path, server: str) -> None:
        super().__init__(folder)
        self.server = server
        self._tag = uuid.uuid4().hex[:12]  # one server is shared by all tests of a process

    def begun(self) -> Path:
        state = self._new()
        self._said(f'CREATE DATABASE "{self._name(state)}"')
        return state

    def copied(self, state: Path) -> Path:
        made = super().copied(state)
        self._said(f'CREATE DATABASE "{self._name(made)}" TEMPLATE "{self._name(state)}"')
        return made

    def where_of(self, state: Path) -> str:
        head, _, query = self.server.partition("?")
        return f"{head.rsplit('/', 1)[0]}/{self._name(state)}" + (f"?{query}" if query else "")

    def forgotten(self, state: Path) -> None:
        super().forgotten(state)
        self._said(f'DROP DATABASE "{self._name(state)}" WITH (FORCE)')

    def _name(self, state: Path) -> str:
        return f"k{self._tag}_{state.name}"

    def _said(self, text: str) -> None:
        import psycopg

        with psycopg.connect(self.server, autocommit=True) as link:
            link.execute(text)


def _linked(source: str, target: str) -> None:
    """A database is copied; a file that no command writes into is linked."""
    if source.endswith((".csv", ".ics", ".toml", ".html", ".md")):
        os.link(source, target)
    else:
        shutil.copy2(source, target)


class Campaign:
    """The steps, and what killing them showed."""

    def __init__(self, warm: Warm, kept: Files, chance: random.Random) -> None:
        self.warm, self.kept, self.chance = warm, kept, chance
        self.steps: list[Step] = []
        self.faults: list[str] = []
        self.count = {"killed": 0, "finished": 0, "whole": 0, "nothing": 0, "said": 0, "left": 0}

    def settings(self, state: Path) -> dict[str, str]:
        return {"STOCKROOM_DB": self.kept.where_of(state), "STOCKROOM_BY": BY}

    def ran(self, state: Path, words: list[str], **more: Any) -> Ran:
        return self.warm.run(words, self.kept.folder_of(state), self.settings(state), **more)

    def built(self, lines: Iterator[list[str]], begin: Callable[[Path], None]) -> None:
        """Runs the lines one after another, and keeps the practice as it is before each that writes."""
        here = self.kept.begun()
        begin(self.kept.folder_of(here))
        writes = writing()
        for words in lines:
            command = " ".join(words[:2]) if " ".join(words[:2]) in writes else words[0]
            if command not in writes:
                assert self.ran(here, words).code in (0, 1), words
                continue
            state, before = self.kept.copied(here), self.seen(here, command)
            ran = self.ran(here, [*words, "--json"])
            if ran.code == 3 and "a copy goes back to a server" in ran.err:
                continue
            assert ran.code in (0, 1), (words, ran)
            after = self.seen(here, command)
            assert not any(seen.wrong for seen in after.values()), (words, after)
            if after != before or command == "database rebuild":
                self.steps.append(Step(command, words, state, ran.seconds, before, after))

    def seen(self, state: Path, command: str) -> dict[str, Seen]:
        """The database and what the command makes, as they are."""
        found = {"": self.database(state, self.kept.where_of(state))}
        made = MADE.get(command)
        if made is not None:
            place = self.kept.folder_of(state) / made
            found[made] = _export(place) if made == "out" else self.database(state, str(place))
        return found

    def database(self, state: Path, where: str) -> Seen:
        """A database as it is."""
        ran = self.warm.run(
            ["records", "verify", "--json"], self.kept.folder_of(state), {"STOCKROOM_DB": where, "STOCKROOM_BY": BY}
        )
        if ran.code == 4 and ("there is no database" in ran.err or "is not a stockroom database" in ran.err):
            return Seen(None)
        if ran.answer is None:
            return Seen(-1, "", (ran.err,))
        return Seen(ran.answer["entries"], ran.answer["head"], tuple(ran.answer["faults"]))

    def trial(self, number: int) -> None:
        """One kill of one step, and what is there afterwards."""
        step = self.steps[number % len(self.steps)]
        state = self.kept.copied(step.state)
        folder = self.kept.folder_of(state)
        if self.chance.random() < 0.5:  # then the command makes the day's copy as well
            shutil.rmtree(folder / "mine.db.copies", ignore_errors=True)
        # A command works out most of the time and writes at the end: every second kill falls into the later half.
        moment = self.chance.uniform(step.seconds / 2 * (number // len(self.steps) % 2), step.seconds * 1.15)
        ran = self.ran(state, [*step.words, "--json"], kill_after=moment)
        told = f"{' '.join(step.words)}, killed after {moment:.4f} s of {step.seconds:.4f}"
        self._judged(step, state, ran, told)
        self.count["left"] += sum(1 for p in folder.rglob("*.part"))
        self.kept.forgotten(state)

    def _judged(self, step: Step, state: Path, ran: Ran, told: str) -> None:
        said = ran.answer is not None or ran.code in (0, 1)
        if not ran.killed:
            step.seconds = ran.seconds
        self.count["killed" if ran.killed else "finished"] += 1
        self.count["said"] += said
        if not ran.killed and ran.code not in (0, 1):
            self.faults.append(f"{told}: it ended with {ran.code}: {ran.err}")
        found = self.seen(state, step.command)
        whole = all(_as_after(found[k], step.after[k]) for k in found)
        untouched = found == step.before
        self.count["whole"] += whole
        self.count["nothing"] += untouched and not whole
        for what, seen in found.items():
            if seen != step.before[what] and not _as_after(seen, step.after[what]):
                self.faults.append(f"{told}: {what or 'the database'} is {seen}, was {step.before[what]}")
        if said and not whole:
            self.faults.append(f"{told}: it answered, and {found} is what is there")
        if not whole:
            again = self.ran(state, [*step.words, "--json"])
            # How long a command takes depends on what else the computer does just now.
            step.seconds = (step.seconds + again.seconds) / 2
            now = self.seen(state, step.command)
            if again.code not in (0, 1) or not all(_as_after(now[k], step.after[k]) for k in now):
                self.faults.append(f"{told}: the second time it ended with {again.code}: {again.err} {now}")


def _as_after(seen: Seen, wanted: Seen) -> bool:
    """Hashes differ from run to run: an entry has the second at which it was recorded."""
    return seen.entries == wanted.entries and not seen.wrong


def _export(folder: Path) -> Seen:
    """An export's own account of itself: every file that it lists, as it lists it."""
    if not folder.exists():
        return Seen(None)
    try:
        told = json.loads((folder / "manifest.json").read_text())
        wrong = [
            f["file"] for f in told["files"] if sha256((folder / f["file"]).read_bytes()).hexdigest() != f["sha256"]
        ]
    except (OSError, ValueError) as fault:
        return Seen(-1, "", (str(fault),))
    return Seen(told["head"]["entries"], told["head"]["hash"], tuple(wrong))


def page_lines() -> Iterator[list[str]]:
    """The lines of docs/commands.md as words, with those that it does not have; each signed, each from the sample's folder."""
    for words in commands((DOCS / "commands.md").read_text(encoding="utf-8")):
        if words[0] != "stockroom" or " ".join(words[1:3]) in NOT_HERE or words[1] in NOT_HERE:
            continue
        for name in (" ".join(words[1:3]), words[1]):
            for line in BESIDE.get(name, []):
                yield shlex.split(line)
        yield words[1:]


def begin(folder: Path) -> None:
    """The made-up practice's files, and those that the page shows."""
    shutil.copytree(HERE.parent / "sample_data", folder, dirs_exist_ok=True)
    for block in blocks((DOCS / "commands.md").read_text(encoding="utf-8")):
        if block.name:
            (folder / block.name).write_text(block.text + "\n", encoding="utf-8")


def older(folder: Path) -> None:
    """A practice of the first revision, to be brought up to date."""
    with sqlite3.connect(folder / "mine.db") as link:
        link.executescript((HERE / "store" / "revision_0001.sql").read_text(encoding="utf-8"))
    link.close()
