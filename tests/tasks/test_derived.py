"""What is kept beside the readings is what the readings say, whatever was recorded in whatever order; and so is as-of.

The laws are derived: each compares two ways to one answer, neither of them the other's code path.
"""

import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from conftest import PRACTICE, Lender, Line
from databases import changed, copied
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stockroom.core.exposure import exposure_of
from stockroom.core.handchecks import covered
from stockroom.core.practice import Keep
from stockroom.core.spells import Line as Line_
from stockroom.core.spells import spells
from stockroom.store import fridges, ledger
from stockroom.store.engine import Store, opened
from stockroom.tasks import setup
from stockroom.tasks.act import Act
from stockroom.tasks.excursions_now import excursions
from stockroom.tasks.import_log import import_log
from stockroom.tasks.read_logs import Reading
from stockroom.tasks.rebuild import faults
from stockroom.tasks.receive import Delivery, receive
from stockroom.tasks.trace import trace_lot
from stockroom.tasks.undo import undo

START = 1_772_409_600  # 2026-03-02T00:00Z
NOW = START + 40 * 86_400
NARROW = PRACTICE.replace("keep = { low = 2.0, high = 6.0 }", "keep = { low = 3.0, high = 5.0 }")
Practised = Callable[[], AbstractContextManager[Store]]
LOOSE = PRACTICE.replace("logger_minutes = 10", "logger_minutes = 10\nmax_gap_minutes = 25\nsettle_minutes = 15")


def act(at: int = NOW) -> Act:
    return Act("AB", at, NOW)


@pytest.fixture(scope="module")
def practice(database: Lender, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Practised]:
    """``with practice() as store``: a practice in a database of its own, a copy of one that is made once."""

    @contextmanager
    def begun() -> Iterator[Store]:
        with copied(first) as where:
            yield opened(where)

    with database(tmp_path_factory.mktemp("practice")) as first:
        setup.init(first, act(START - 86_400), PRACTICE.encode(), "p.toml")
        yield begun


def brought(store: Store, readings: list[tuple[int, float]]) -> str:
    text = "timestamp,celsius\n" + "".join(f"{np.datetime64(START + 60 * m, 's')}Z,{v}\n" for m, v in readings)
    return import_log(store, act(), [("log.csv", text.encode())], fridge="Cold one", reading=Reading()).entry


def received(store: Store, lot: str, at: int) -> None:
    receive(store, act(at), Delivery("KIT", lot, date(2027, 1, 31), "Cold one", 2))


def loaded(store: Store, text: str, at: int) -> None:
    with store.reading() as conn:
        loading = setup.compared(conn, text.encode(), "p.toml", at)
    setup.load(store, act(at), loading)


def figures(store: Store, until: int) -> list[tuple[object, ...]]:
    with store.reading() as conn:
        key = ledger.place_key(conn, "Cold one")
        assert key is not None
        found = excursions(conn, "Cold one", key, until)
        return sorted((e.source, e.direction or "", e.limit or 0, e.figures, e.lots) for e in found if e.event)


values = st.sampled_from([1.5, 3.0, 4.0, 5.9, 6.0, 6.4, 7.0, 8.5])
series = st.dictionaries(st.integers(0, 400).map(lambda i: i * 10), values, min_size=6, max_size=120)
SLOW = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@SLOW
@given(readings=series, seed=st.integers(0, 10_000))
def test_what_is_kept_is_what_the_readings_say(practice: Practised, readings: dict[int, float], seed: int) -> None:
    chance = random.Random(seed)
    rows = sorted(readings.items())
    chance.shuffle(rows)
    with practice() as store:
        entries = []
        steps = ["bring"] * 4 + ["receive", "load", "undo", "receive"]
        chance.shuffle(steps)
        for n, step in enumerate(steps):
            if step == "bring":
                share = len(rows) // 4 + 1
                part, rows = sorted(rows[:share]), rows[share:]
                if part:
                    entries.append(brought(store, part))
            elif step == "receive":
                received(store, f"L{n}", START + chance.randrange(0, 4000) * 60)
            elif step == "load":
                loaded(store, chance.choice([NARROW, LOOSE]), START + chance.randrange(0, 4000) * 60)
            elif entries:
                undo(store, act(), entries.pop(chance.randrange(len(entries))), "not ours")
            with store.reading() as conn:
                assert faults(conn, lambda what, done, of: None) == []


@SLOW
@given(
    readings=series,
    stays=st.lists(st.tuples(st.integers(-200, 5000), st.integers(0, 3)), min_size=1, max_size=3),
    seed=st.integers(0, 10_000),
)
def test_every_spell_that_a_lot_stood_through_is_known(
    practice: Practised, readings: dict[int, float], stays: list[tuple[int, int]], seed: int
) -> None:
    # The spells of the whole series on every line, whether a lot arrived before, during or after them.
    steps: list[tuple[str, int]] = [("receive", at) for at, _ in stays] + [("bring", n) for n in range(3)]
    random.Random(seed).shuffle(steps)
    rows = sorted(readings.items())
    with practice() as store:
        for step, n in steps:
            if step == "receive":
                received(store, f"L{n}", START + 60 * n)
            elif rows[n::3]:
                brought(store, rows[n::3])
        with store.reading() as conn:
            key = ledger.place_key(conn, "Cold one")
            assert key is not None
            at, milli = fridges.series(conn, key)
            known = {(e.direction, e.limit, e.anchor_at) for e in excursions(conn, "Cold one", key) if e.event}
        arrived = min(START + 60 * n for n, _ in stays)
        wanted = set()
        for line in (Line_("warm", 8000), Line_("warm", 6000), Line_("cold", 2000)):
            for s in spells(at, milli, line, 3600, 3600):
                if line.limit != 6000 or s.end is None or s.end >= arrived:
                    wanted.add((line.direction, line.limit, s.first_out))
        assert {k for k in known if k[0]} == wanted


@SLOW
@given(readings=series, cut=st.integers(0, 4000), seed=st.integers(0, 10_000))
def test_as_of_is_what_a_record_without_the_later_readings_says(
    practice: Practised, readings: dict[int, float], cut: int, seed: int
) -> None:
    until = START + 60 * cut
    early = {m: v for m, v in readings.items() if m <= cut}
    with practice() as full, practice() as part:
        for store, rows in ((full, readings), (part, early)):
            received(store, "EARLY", START - 3600)
            if rows:
                brought(store, sorted(rows.items()))
        if early:
            assert figures(full, until) == figures(part, until)
        else:
            assert figures(full, until) == []


@SLOW
@given(readings=series, since=st.integers(-1000, 3000), cut=st.integers(0, 9000))
def test_exposure_from_days_is_exposure_from_readings(
    practice: Practised, readings: dict[int, float], since: int, cut: int
) -> None:
    start, until = START + 60 * since, START + 60 * cut
    with practice() as store:
        received(store, "A", start)
        # Ten quiet days around, so that most days are never opened.
        quiet = dict.fromkeys(range(-14400, 28800, 30), 4.0)
        brought(store, sorted({**quiet, **readings}.items()))
        got = trace_lot(store, "KIT", "A", until).exposure
        with store.reading() as conn:
            key = ledger.place_key(conn, "Cold one")
            assert key is not None
            at, milli = fridges.series(conn, key, end=until)
            shown = covered(fridges.hand_checks(conn, key, "Cold one", until))
        wanted = exposure_of(at, milli, start, until, Keep(2000, 6000), 3600, shown).exposure
        if until <= start:
            return
        assert got.seconds_unmonitored == wanted.seconds_unmonitored
        assert got.seconds_warm == pytest.approx(wanted.seconds_warm, abs=1e-6)
        assert got.seconds_cold == pytest.approx(wanted.seconds_cold, abs=1e-6)
        assert (got.min_milli, got.max_milli) == (wanted.min_milli, wanted.max_milli)
        assert got.mkt_celsius == pytest.approx(wanted.mkt_celsius, abs=1e-9)


def test_an_import_of_one_day_reads_that_day_and_its_edges(cli: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    # derived: 120 days at ten minutes are 17,280 readings; a day and its edges are a few hundred
    rows = [(m, 8.4 if m % 1440 == 600 else 4.0) for m in range(0, 120 * 1440, 10)]
    text = "timestamp,celsius\n" + "".join(f"{np.datetime64(START + 60 * m, 's')}Z,{v}\n" for m, v in rows)
    cli.file("season.csv", text)
    cli.ok("fridge", "import", "season.csv", "--fridge", "Cold one", now="2026-07-02T00:00:00+00:00")
    read = []
    plain = fridges.series

    def counted(*args: object, **kwargs: object) -> tuple[np.ndarray, np.ndarray]:
        found = plain(*args, **kwargs)  # type: ignore[arg-type]
        read.append(len(found[0]))
        return found

    monkeypatch.setattr(fridges, "series", counted)
    day = "".join(
        f"{np.datetime64(START + 120 * 86_400 + 60 * m, 's')}Z,{8.4 if m == 600 else 4.0}\n" for m in range(0, 1440, 10)
    )
    cli.file("day.csv", "timestamp,celsius\n" + day)
    said = cli.ask("fridge", "import", "day.csv", "--fridge", "Cold one", now="2026-07-01T00:10:00+00:00")
    assert said["added"] == 144
    assert len(said["excursions"]) == 1
    assert sum(read) < 2000
    read.clear()
    checked = cli.ask("fridge", "check", now="2026-07-01T00:10:00+00:00")
    assert len(checked["fridges"][0]["excursions"]) == 121
    assert sum(read) < 200


def test_an_older_database_gets_what_newer_ones_keep(tmp_path: Path) -> None:
    # The file was made by the program at revision 0001: 42 readings, an excursion, a check, a booking.
    old = tmp_path / "old.db"
    link = sqlite3.connect(old)
    link.executescript((Path(__file__).parent.parent / "store" / "revision_0001.sql").read_text(encoding="utf-8"))
    link.close()
    line = Line(str(old), tmp_path)
    assert line("fridge", "check").code == 4
    done = line.ask("database", "upgrade")
    assert (done["from"], done["to"]) == ("0001", "0003")
    assert line.ask("records", "verify")["faults"] == []
    link = sqlite3.connect(old)
    assert link.execute("SELECT count(*) FROM spell").fetchone()[0] > 0
    assert link.execute("SELECT count(*) FROM day_summary").fetchone()[0] == 1
    with pytest.raises(sqlite3.IntegrityError, match="records are only added"):
        link.execute("INSERT OR REPLACE INTO reading SELECT * FROM reading LIMIT 1")
    with pytest.raises(sqlite3.IntegrityError, match="records are only added"):
        link.execute("DELETE FROM reading")
    link.close()
    (found,) = line.ask("fridge", "check")["fridges"][0]["excursions"]
    # derived: 4.0 to 6.8 crosses 6.0 5/7 of the way, twice in ten minutes; three readings between
    assert found["minutes"] == pytest.approx(20 + 2 * 10 * (0.8 / 2.8), abs=0.01)
    assert found["lots"] == [{"product": "KIT", "lot": "A1", "quantity": 4}]


@pytest.mark.parametrize("change", ["UPDATE spell SET seconds = 1", "DELETE FROM spell", "UPDATE day_summary SET low = 0",
                                    "UPDATE reading_span SET readings = 1"])  # fmt: skip
def test_what_is_kept_wrongly_is_found_and_made_anew(cli: Line, change: str) -> None:
    rows = "".join(f"2026-03-02T0{h}:00:00Z,{9.0 if h == 4 else 4.0}\n" for h in range(9))
    cli.file("log.csv", "timestamp,celsius\n" + rows)
    cli.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    before = cli.ask("fridge", "check")
    changed(cli.where, change)
    assert len(cli.ask("records", "verify")["faults"]) == 1
    assert cli.ask("database", "rebuild") == {"fridges": 1}
    assert cli.ask("records", "verify")["faults"] == []
    assert cli.ask("fridge", "check") == before


def test_a_rebuild_is_the_same_on_a_server(both: Line) -> None:
    rows = "".join(f"2026-03-02T0{h}:00:00Z,{9.0 if h == 4 else 4.0}\n" for h in range(9))
    both.file("log.csv", "timestamp,celsius\n" + rows)
    both.ok("fridge", "import", "log.csv", "--fridge", "Cold one")
    before = both.ask("fridge", "check")
    both.ok("database", "rebuild")
    assert both.ask("records", "verify")["faults"] == []
    assert both.ask("fridge", "check") == before


def test_two_pieces_of_news_of_one_lot_are_one_line(cli: Line) -> None:
    cli.ok("stock", "receive", "KIT", "--lot", "A", "--expiry", "2027-01", "--quantity", 3, "--into", "Cold one",
           "--at", "2026-02-28T10:00")  # fmt: skip
    rows = "".join(f"2026-03-01T{h:02d}:00:00Z,{9.0 if h % 4 == 0 else 4.0}\n" for h in range(24))
    cli.file("log.csv", "timestamp,celsius\n" + rows)
    said = cli("fridge", "import", "log.csv", "--fridge", "Cold one")
    assert said.code == 1
    assert said.out.count("in quarantine") == 1
    assert "3 pieces are in quarantine" in said.out
