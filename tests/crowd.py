"""Several people at one database at once: each a process of its own that does one thing after another, drawn by chance.

Run as a program it is one of them. What each was answered is kept line by line, to be held against the records afterwards.
"""

import contextlib
import io
import json
import os
import random
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

LOTS = ["A1", "A2", "A3", "A4"]
FRIDGES = ["Cold one", "Cold two"]
LOOKS = [["stock", "list"], ["warmup", "check"], ["today"], ["records", "verify"], ["fridge", "check"]]


class Person:
    """One of them: draws what to do next, from what everybody may have recorded by then."""

    def __init__(self, seed: int, by: str, folder: Path) -> None:
        self.chance, self.by, self.folder = random.Random(seed), by, folder
        self.mine: list[str] = []
        """Entries of this person that may be taken back without taking stock from under anybody."""
        self.number = 0

    def next(self) -> list[str]:
        self.number += 1
        draw = self.chance.choices(
            [self.receive, self.pull, self.pull_for, self.book, self.change, self.use, self.move, self.log, self.bring,
             self.take_back, self.put_back, self.hold, self.discard, self.look],
            [14, 16, 10, 12, 5, 8, 7, 8, 4, 3, 4, 2, 2, 5],
        )[0]  # fmt: skip
        return draw()

    def receive(self) -> list[str]:
        product, lot = ("KIT", self.chance.choice(LOTS)) if self.chance.random() < 0.8 else ("SWAB", "S1")
        return ["stock", "receive", product, "--lot", lot, "--expiry", "2099-12-31", "--quantity", str(self._few()),
                "--into", self.chance.choice(FRIDGES) if product == "KIT" else "Cupboard"]  # fmt: skip

    def pull(self) -> list[str]:
        return ["warmup", "pull", "--product", "KIT", "--lot", self.chance.choice(LOTS)]

    def pull_for(self) -> list[str]:
        return ["warmup", "pull", f"B-{self.chance.randint(1, 30)}"]

    def book(self) -> list[str]:
        day = datetime.now(UTC) + timedelta(days=self.chance.randint(1, 20))
        start = f"{day:%Y-%m-%d}T{self.chance.randint(9, 15):02d}:{self.chance.choice(['00', '30'])}"
        return ["booking", "add", "white", "--start", start, "--patient", f"{self.by}-{self.number}"]

    def change(self) -> list[str]:
        return ["booking", "cancel", f"B-{self.chance.randint(1, 60)}", "--why", "rang"]

    def use(self) -> list[str]:
        return ["stock", "use", "SWAB", str(self._few()), "--why", "training"]

    def move(self) -> list[str]:
        source, target = self.chance.sample(FRIDGES, 2)
        return ["stock", "move", "KIT", self.chance.choice(LOTS), "--quantity", str(self._few()), "--from", source,
                "--to", target]  # fmt: skip

    def log(self) -> list[str]:
        return ["fridge", "log", f"{self.chance.uniform(3, 5):.1f}", "--fridge", self.chance.choice(FRIDGES)]

    def bring(self) -> list[str]:
        """A logger's file of an hour; now and then with a warm reading, or of an hour that is on record already."""
        hour = datetime(2026, 1, 6, tzinfo=UTC) + timedelta(hours=self.chance.randint(0, 400))
        warm = 7.0 if self.chance.random() < 0.1 else 4.4
        rows = [f"{hour + timedelta(minutes=10 * i):%Y-%m-%dT%H:%M:%SZ},{warm if i == 3 else 4.0}" for i in range(6)]
        name = self.folder / f"{self.by}-{self.number}.csv"
        name.write_text("timestamp,celsius\n" + "\n".join(rows) + "\n", encoding="utf-8")
        return ["fridge", "import", str(name), "--fridge", self.chance.choice(FRIDGES)]

    def take_back(self) -> list[str]:
        if not self.mine:
            return self.log()
        return ["undo", self.mine.pop(self.chance.randrange(len(self.mine))), "--why", "slip"]

    def put_back(self) -> list[str]:
        return ["warmup", "back", f"P-{self.chance.randint(1, 40)}"]

    def hold(self) -> list[str]:
        return ["stock", "quarantine", "KIT", self.chance.choice(LOTS), "--quantity", "1", "--why", "torn"]

    def discard(self) -> list[str]:
        return [
            "stock",
            "discard",
            "KIT",
            self.chance.choice(LOTS),
            "--quantity",
            "1",
            "--why",
            "torn",
            "--by",
            self.by,
        ]

    def look(self) -> list[str]:
        return self.chance.choice(LOOKS)

    def told(self, words: list[str], entry: str | None) -> None:
        if entry is not None and words[:2] in (["fridge", "log"], ["stock", "use"]):
            self.mine.append(entry)

    def _few(self) -> int:
        return self.chance.randint(1, 4)


def played(seed: int, by: str, folder: Path, number: int) -> None:
    """So many operations of one person; each answer is a line in a file of this person's."""
    from stockroom.cli.main import collect_seldom, main

    collect_seldom()
    person = Person(seed, by, folder)
    with (folder / f"{by}.jsonl").open("w", encoding="utf-8") as kept:
        for _ in range(number):
            words = person.next()
            out, err = io.StringIO(), io.StringIO()
            began = time.monotonic()
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                code = main([*words, "--json"])
            seconds = time.monotonic() - began
            entry = json.loads(out.getvalue()).get("entry") if code in (0, 1) else None
            person.told(words, entry)
            kept.write(
                json.dumps({"words": words, "code": code, "err": err.getvalue(), "entry": entry, "seconds": seconds})
                + "\n"
            )
            kept.flush()


@dataclass(frozen=True)
class Told:
    """What one person was answered, in order."""

    by: str
    answers: list[dict[str, Any]]


def crowd(where: str, folder: Path, people: int, operations: int) -> list[Told]:
    """Lets so many people work at once, until each has done so many operations."""
    names = [f"A{chr(ord('A') + n)}" for n in range(people)]
    settings = {k: v for k, v in os.environ.items() if not k.startswith("STOCKROOM_")} | {"STOCKROOM_DB": where}
    running = [
        subprocess.Popen(
            [sys.executable, __file__, str(n), by, str(folder), str(operations)], env=settings | {"STOCKROOM_BY": by}
        )
        for n, by in enumerate(names)
    ]
    assert [p.wait() for p in running] == [0] * people
    lines = [(by, (folder / f"{by}.jsonl").read_text(encoding="utf-8").splitlines()) for by in names]
    return [Told(by, [json.loads(line) for line in found]) for by, found in lines]


def summary(told: list[Told], seconds: float) -> str:
    """One line: how much was done, how it was answered, how long the longest took."""
    codes = Counter(a["code"] for t in told for a in t.answers)
    longest = max(a["seconds"] for t in told for a in t.answers)
    recorded = sum(a["entry"] is not None for t in told for a in t.answers)
    return (
        f"{len(told)} people, {sum(codes.values())} operations in {seconds:.0f} s, {recorded} entries; exit codes "
        f"{dict(sorted(codes.items()))}; the longest took {longest:.1f} s"
    )


if __name__ == "__main__":
    played(int(sys.argv[1]), sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]))
