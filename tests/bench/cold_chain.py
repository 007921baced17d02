"""How long the cold chain takes, as ratios within one run: python tests/bench/cold_chain.py [--small]

- a million one-minute readings imported with checks, excursions and summaries, against the sqlite3 shell's .import of
  the same file into a table keyed by time stamp (at most 3), and the import's peak memory (under 200 MiB)
- one day imported into a database of five million readings, against the same day into an empty one (at most 1.5)
- fridge check on that database against the same on an empty one (at most 1.5)
- trace lot over two years, against the start of a command that only opens a database (under 1.5)

Whole processes in turn, medians. The readings are made up: a fridge that swings, with a warm spell twice a month.
"""

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

OURS = """
import sys
from stockroom.cli.main import main
code = main(sys.argv[1:])
status = dict(line.split(":", 1) for line in open("/proc/self/status"))
print(int(status["VmHWM"].split()[0]), file=sys.stderr)
sys.exit(code)
"""
"""One command line; then its own peak memory, in kB (what a parent sees of a child begins with the parent's own)."""

START = 1_451_606_400  # 2016-01-01T00:00Z
PRACTICE = """
[practice]
name = "Bench"
timezone = "Europe/Amsterdam"
currency = "EUR"
hours = { mon = ["08:00-18:00"], tue = ["08:00-18:00"], wed = ["08:00-18:00"], thu = ["08:00-18:00"], fri = ["08:00-16:00"] }

[[fridge]]
name = "Cold one"
low = 2.0
high = 8.0
checks = "minmax"
logger_minutes = 1
capacity = 40

[[supplier]]
name = "Harbour Supplies"
order_days = ["mon"]
lead_days = 2
delivery_days = ["wed"]

[[product]]
code = "KIT"
name = "Cold kit"
supplier = "Harbour Supplies"
kind = "kit"
keep = { low = 2.0, high = 6.5 }
source = "label"
warmup_hours = 24
max_out_hours = 72
pack_size = 1
space = 1
"""


def write_log(path: Path, first: int, n: int) -> None:
    """``n`` one-minute readings from minute ``first`` on."""
    chance = np.random.default_rng(first)
    minute = np.arange(first, first + n)
    milli = 4000 + 1200 * np.sin(minute / 15) + chance.normal(0, 100, n)
    milli += 4500 * np.sin(np.pi * np.clip((minute % 21_600 - 9000) / 90, 0, 1))
    stamps = np.datetime_as_string((START + 60 * minute).astype("datetime64[s]"))
    with path.open("w", encoding="utf-8") as out:
        out.write("timestamp,celsius\n")
        for k in range(0, n, 50_000):
            rows = zip(stamps[k : k + 50_000], milli[k : k + 50_000], strict=True)
            out.writelines(f"{s}Z,{m / 1000:.2f}\n" for s, m in rows)


def timed(*args: object, db: Path | None = None) -> tuple[float, float]:
    """(seconds, peak memory in MiB) of one whole process, the memory of ours alone."""
    words = [str(a) for a in args]
    if db is not None:
        words = [sys.executable, "-c", OURS, "--db", str(db), *words]
    began = time.perf_counter()
    done = subprocess.run(words, capture_output=True, env=os.environ, text=True)
    took = time.perf_counter() - began
    if done.returncode not in (0, 1):
        raise SystemExit(f"{words}: {done.stderr}")
    return took, int(done.stderr.split()[-1]) / 1024 if db is not None else 0.0


def practice(folder: Path, name: str) -> Path:
    """A database with the practice and a lot that came two years before the end of the readings."""
    db, toml = folder / name, folder / "practice.toml"
    toml.write_text(PRACTICE, encoding="utf-8")
    timed("init", toml, "--at", "2016-01-01T08:00", db=db)
    return db


def paired(a: Callable[[], float], b: Callable[[], float], runs: int) -> tuple[float, float, float]:
    """(median of a, median of b, median of the ratios), in turn."""
    pairs = [(a(), b()) for _ in range(runs)]
    first, second = (statistics.median(column) for column in zip(*pairs, strict=True))
    return first, second, statistics.median(x / y for x, y in pairs)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--small", action="store_true", help="a tenth of everything, to see that it runs")
    share = 10 if parser.parse_args().small else 1
    million, many = 1_000_000 // share, 5_000_000 // share
    os.environ |= {"STOCKROOM_BY": "AB"}
    with tempfile.TemporaryDirectory() as name:
        measure(Path(name), million, many)


def measure(folder: Path, million: int, many: int) -> None:
    """Runs everything and prints the table."""
    rows: list[tuple[str, float, float, float, str]] = []
    memory: list[float] = []
    log = folder / "million.csv"
    write_log(log, 0, million)

    def ours() -> float:
        db = practice(folder, "one.db")
        took, peak = timed("fridge", "import", log, "--fridge", "Cold one", db=db)
        memory.append(peak)
        for path in folder.glob("one.db*"):
            path.unlink()
        return took

    def shell() -> float:
        for path in folder.glob("ref.db*"):
            path.unlink()
        table = "CREATE TABLE r (at TEXT PRIMARY KEY, celsius REAL)"
        return timed("sqlite3", folder / "ref.db", table, ".mode csv", f".import --skip 1 {log} r")[0]

    rows.append((f"import of {million:,} readings : sqlite3 .import", *paired(ours, shell, 5), "3"))

    big, empty, day = practice(folder, "big.db"), practice(folder, "empty.db"), folder / "day.csv"
    for first in range(0, many, million):
        write_log(log, first, million)
        timed("fridge", "import", log, "--fridge", "Cold one", db=big)
    last = START + 60 * many
    arrived = time.strftime("%Y-%m-%dT%H:%M", time.gmtime(last - 730 * 86_400 if many > 2_000_000 else START + 86_400))
    goods = ("stock", "receive", "KIT", "--lot", "A", "--expiry", "2031-01", "--quantity", 8, "--into", "Cold one")
    for db in (big, empty):
        timed(*goods, "--at", arrived, db=db)
    write_log(day, many, 1440)

    def one_day(db: Path) -> float:
        copy = folder / "copy.db"
        shutil.copy(db, copy)
        took = timed("fridge", "import", day, "--fridge", "Cold one", db=copy)[0]
        for path in folder.glob("copy.db*"):
            path.unlink()
        return took

    until = time.strftime("%Y-%m-%dT%H:%M", time.gmtime(last - 60))
    rows.append((f"one day into {many:,} : into none", *paired(lambda: one_day(big), lambda: one_day(empty), 9), "1.5"))
    look = ("fridge", "check", "--as-of", until)
    checks = paired(lambda: timed(*look, db=big)[0], lambda: timed(*look, db=empty)[0], 11)
    rows.append((f"fridge check on {many:,} : on none", *checks, "1.5"))
    trace = ("trace", "lot", "KIT", "A", "--as-of", until)
    traces = paired(lambda: timed(*trace, db=big)[0], lambda: timed("stock", "list", db=empty)[0], 11)
    rows.append(("trace of two years : a command's start", *traces, "1.5"))
    print(f"{'':58}  seconds  against  ratio  at most")
    for what, a, b, ratio, bar in rows:
        print(f"{what:58}  {a:7.2f}  {b:7.2f}  {ratio:5.2f}  {bar:>7}")
    print(f"{'peak memory of that import, MiB':58}  {statistics.median(memory):7.0f}  {'':7}  {'':5}  {'200':>7}")


if __name__ == "__main__":
    main()
