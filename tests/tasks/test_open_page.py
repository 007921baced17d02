"""What was brought forward answers as everything that was ever recorded would.

Law (derived: two ways to one answer): after any events, in any order of time, some undone, the day sheet that rests on the
page is the one that reads everything, now and later; and a page that was made from the one before it is the page that is
made from everything.
"""

import os
import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from conftest import PRACTICE, Line

from stockroom.store import open_page
from stockroom.store.engine import Store, opened
from stockroom.store.open_page import BACK_DAYS, Page, page_of
from stockroom.tasks.bring_forward import page_anew
from stockroom.tasks.today import DaySheet, day_sheet

ALLOWED = PRACTICE.replace(
    'source = "label"\n', 'source = "label"\nallowance = { up_to = 9.0, minutes = 100, source = "letter" }\n'
)
WALKS = int(os.environ.get("STOCKROOM_WALKS", "2"))
BEGAN = datetime(2026, 3, 2, 9, tzinfo=UTC)


def pages(store: Store) -> tuple[Page | None, Page | None]:
    """(the page made from the one before, the page made from everything); the first stays."""
    with store.deriving() as conn:
        page_anew(conn, whole=True)
        whole = page_of(conn)
        conn.rollback()
    with store.deriving() as conn:
        page_anew(conn)
        return page_of(conn), whole


def sheets(store: Store, at: datetime, monkeypatch: pytest.MonkeyPatch) -> tuple[DaySheet, DaySheet]:
    """(the day sheet with the page, the day sheet from everything)."""
    with_page = day_sheet(store, int(at.timestamp()))
    with monkeypatch.context() as patch:
        patch.setattr(open_page, "page_of", lambda conn: None)
        return with_page, day_sheet(store, int(at.timestamp()))


class Walk:
    """A practice in which something happens at random, some of it written in late, some undone."""

    def __init__(self, cli: Line, seed: int) -> None:
        self.cli, self.chance, self.now = cli, random.Random(seed), BEGAN
        self.read = BEGAN - timedelta(hours=3)
        self.lots = self.kits = self.files = 0
        self.entries: list[str] = []

    def said(self, *words: object) -> bool:
        answer = self.cli(*words, "--json", now=self.now.isoformat())
        assert answer.code in (0, 1, 3), (words, answer)
        if answer.code < 2 and isinstance(answer.json, dict) and answer.json.get("entry"):
            self.entries.append(answer.json["entry"])
        return answer.code < 2

    def at(self, *days: float) -> str:
        return (self.now - timedelta(days=self.chance.choice(days))).isoformat(timespec="minutes")

    def step(self) -> None:
        self.now += timedelta(hours=self.chance.choice([3, 10, 20, 30, 60]))
        acts = (self.delivery, self.logger, self.check, self.use, self.decide, self.undo, self.explain, self.rarer)
        self.chance.choices(acts, (5, 9, 4, 8, 7, 2, 1, 2))[0]()

    def delivery(self) -> None:
        self.lots += 1
        expiry = (self.now + timedelta(days=self.chance.randrange(5, 90))).date().isoformat()
        into = self.chance.choice(["Cold one", "Cold one", "Cold two"])
        self.said("stock", "receive", "KIT", "--lot", f"L{self.lots}", "--expiry", expiry, "--quantity",
                  self.chance.randrange(1, 4), "--into", into, "--at", self.at(0, 0, 0, 1, 40))  # fmt: skip

    def logger(self) -> None:
        """What the logger has read since it was last read out, or a part of long ago that was not there; warm at times."""
        first, step = self.read, timedelta(minutes=self.chance.choice([20, 50]))
        if self.chance.random() < 0.15:
            first = self.now - timedelta(days=self.chance.choice([3, 20, 50, 90]))
            end = first + timedelta(hours=5)
        else:
            end = self.read = max(self.now - timedelta(hours=self.chance.choice([0, 0, 12])), self.read + step)
        first = max(first, end - timedelta(days=12))
        warm = set()
        if self.chance.random() < 0.5:
            begin = self.chance.randrange(max(1, int((end - first) / step)))
            warm = set(range(begin, begin + self.chance.randrange(1, 6)))
        peak = self.chance.choice([6.5, 7.5, 9.5])
        rows, at, n = [], first, 0
        while at < end:
            rows.append(f"{at.strftime('%Y-%m-%dT%H:%M:%SZ')},{peak if n in warm else 4.0}\n")
            at, n = at + step, n + 1
        if not rows:
            return
        self.files += 1
        name = self.cli.file(f"log{self.files}.csv", "timestamp,celsius\n" + "".join(rows))
        self.said("fridge", "import", name, "--fridge", self.chance.choice(["Cold one", "Cold one", "Cold two"]))

    def check(self) -> None:
        high = self.chance.choice(["5", "5", "5", "7", "9"])
        fridge = self.chance.choice(["Cold one", "Cold two"])
        self.said(
            "fridge", "log", "4", "--min", "3", "--max", high, "--fridge", fridge, "--at", self.at(0, 0, 0, 2, 45)
        )

    def use(self) -> None:
        if self.chance.random() < 0.5:
            self.said("warmup", "pull", "KIT", "--at", self.at(0, 0, 0, 1))
            self.kits += 1
        elif self.kits:
            kit = f"P-{self.chance.randrange(max(1, self.kits - 3), self.kits + 1)}"
            words = self.chance.choice([("stock", "discard", "--pull", kit), ("stock", "discard", "--pull", kit)])
            self.said(*words, "--why", "tried out", "--at", self.at(0, 0, 0, 1))

    def decide(self) -> None:
        found = self.cli.ask("fridge", "check", now=self.now.isoformat())["fridges"]
        waiting = [e["id"] for f in found for e in f["excursions"] if e["state"] == "open"]
        if waiting:
            verdict = self.chance.choice(["--release", "--release", "--discard"])
            self.said("fridge", "decide", self.chance.choice(waiting), verdict, "--why", "asked", "--answer", "yes",
                      "--by", "AB")  # fmt: skip

    def undo(self) -> None:
        if self.entries:
            late = self.chance.random() < 0.5
            entry = self.chance.choice(self.entries if late else self.entries[-4:])
            self.said("undo", entry, "--why", "a slip")

    def explain(self) -> None:
        day = (self.now - timedelta(days=self.chance.choice([1, 3, 40, 80]))).date().isoformat()
        self.said("fridge", "explain", day, "--fridge", "Cold one", "--why", "nobody was in")

    def rarer(self) -> None:
        n = self.chance.randrange(5)
        if n == 0:
            self.said("fridge", "off", "Cold two", "--why", "defrosting", "--at", self.at(0, 1, 50))
        elif n == 1:
            self.said("fridge", "on", "Cold two", "--at", self.at(0, 1))
        elif n == 2:
            day = (self.now + timedelta(days=self.chance.choice([2, -3, -50]))).date().isoformat()
            self.said("practice", "closed", day, "--why", "holiday")
        elif n == 3:
            self.cli.file("again.toml", self.chance.choice([PRACTICE, ALLOWED]))
            self.said("practice", "load", "again.toml", "--yes", "--at", self.at(0, 3, 60))
        else:
            start = (self.now + timedelta(days=3)).strftime("%Y-%m-%dT10:00")
            self.said("booking", "add", "white", "--start", start, "--patient", f"P-{self.chance.randrange(10**6)}")


@pytest.mark.parametrize("seed", [n if n == 1 else pytest.param(n, marks=pytest.mark.long) for n in range(WALKS)])
def test_the_page_answers_as_everything_does(
    line: Callable[..., Line], monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    cli = line(ALLOWED if seed % 2 else PRACTICE)
    store, walk, chance = opened(cli.where), Walk(cli, seed), random.Random(seed)
    told = used = 0
    for _ in range(80):
        walk.step()
        if chance.random() < 0.25:
            brought, whole = pages(store)
            assert brought == whole
        for later in (timedelta(), timedelta(days=chance.choice([-3, 0.1, 2, 9]))):
            with_page, from_all = sheets(store, walk.now + later, monkeypatch)
            assert with_page == from_all, (seed, walk.now, later)
            told += len(from_all.roles["manager"]) + len(from_all.roles["assistant"])
        with store.reading() as conn:
            page = page_of(conn)
            used += page is not None and bool(open_page.fridge_pages(conn, int(walk.now.timestamp())))
    # The walk is long enough for something to be left behind, and the page was rested on.
    assert walk.now - BEGAN > timedelta(days=BACK_DAYS + 20)
    assert told > 200 and used > 30
