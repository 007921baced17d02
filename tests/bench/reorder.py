"""How long `reorder list` takes for 300 products, against a command's start: python tests/bench/reorder.py [--small]

The start is `stock list` on an empty database; the bar is 3. Whole processes in turn, medians. The practice is made up:
forty cold kits in two fridges that are too small for all that is wanted, 260 supplies, six suppliers of which one has a
record of late deliveries, sixty procedures, two hundred bookings to come, and a thousand of the past year that were done,
from which what is still to be booked is forecast.
"""

import argparse
import contextlib
import io
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from stockroom.cli.main import main as stockroom
from stockroom.store.engine import opened
from stockroom.tasks.act import Act
from stockroom.tasks.finish import Outcome, done

COMMAND = "import sys; from stockroom.cli.main import main; sys.exit(main(sys.argv[1:]))"
NOW = "2026-03-02T09:00"
HEAD = """
[practice]
name = "Bench"
timezone = "Europe/Amsterdam"
currency = "EUR"
hours = { mon = ["08:00-18:00"], tue = ["08:00-18:00"], wed = ["08:00-18:00"], thu = ["08:00-18:00"], fri = ["08:00-16:00"] }
[[fridge]]
name = "One"
low = 2.0
high = 8.0
capacity = 260
[[fridge]]
name = "Two"
low = 2.0
high = 8.0
capacity = 260
[[shelf]]
name = "Cupboard"
"""
SUPPLIER = """
[[supplier]]
name = "Supplier {n}"
order_days = ["mon", "thu"]
cutoff = "14:00"
lead_days = {lead}
delivery_days = ["mon", "tue", "wed", "thu", "fri"]
"""
KIT = """
[[product]]
code = "K{n}"
name = "Kit {n}"
supplier = "Supplier {of}"
kind = "kit"
keep = {{ low = 2.0, high = 8.0 }}
source = "label"
warmup_hours = 24
max_out_hours = 72
pack_size = {pack}
pack_price = 100.00
shelf_life_days = 240
"""
SUPPLY = """
[[product]]
code = "S{n}"
name = "Supply {n}"
supplier = "Supplier {of}"
kind = "supply"
pack_size = {pack}
pack_price = 5.00
shelf_life_days = 900
"""


def practice(kits: int, supplies: int, procedures: int, chance: random.Random) -> str:
    """The practice file."""
    parts = [HEAD, *(SUPPLIER.format(n=n, lead=2 + n % 3) for n in range(6))]
    parts += [KIT.format(n=n, of=n % 3, pack=chance.choice([1, 3, 4])) for n in range(kits)]
    parts += [SUPPLY.format(n=n, of=3 + n % 3, pack=chance.choice([10, 25, 50])) for n in range(supplies)]
    for n in range(procedures):
        uses = [f'{{ product = "K{n % kits}", each = 1 }}']
        some = sorted({*range(n, supplies, procedures), *chance.sample(range(supplies), min(6, supplies))})
        uses += [f'{{ product = "S{k}", per_cycles = 2, spare = 1 }}' for k in some]
        parts.append(
            f'[[procedure]]\ncode = "p{n}"\nminutes = 30\nminutes_per_cycle = 10\ncycles = {chance.randint(2, 6)}\n'
            f"expected_per_week = {chance.choice([0.5, 1, 2])}\nuses = [ {', '.join(uses)} ]\n"
        )
    return "\n".join(parts)


def run(*words: object) -> None:
    """One command in this process."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        code = stockroom([str(w) for w in words])
    if code not in (0, 1):
        raise SystemExit(f"{words}: {said.getvalue()}")


def filled(folder: Path, kits: int, supplies: int, procedures: int, bookings: int) -> Path:
    """A database with everything in it."""
    chance, path = random.Random(1), folder / "full.db"
    os.environ["STOCKROOM_DB"], os.environ["STOCKROOM_BY"] = str(path), "AB"
    (folder / "practice.toml").write_text(practice(kits, supplies, procedures, chance), encoding="utf-8")
    run("init", folder / "practice.toml", "--at", "2025-03-01T08:00")
    rows = ["product,lot,expiry,quantity,place"]
    for n in range(kits):
        for lot in range(3):
            rows.append(f"K{n},L{lot},2026-{4 + 2 * lot:02}-28,400,{'One' if n % 2 else 'Two'}")
    for n in range(supplies):
        for lot in range(2):
            rows.append(f"S{n},L{lot},2027-{1 + lot:02}-28,4000,Cupboard")
    (folder / "opening.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    run("stock", "opening", folder / "opening.csv", "--at", "2025-03-02T08:00")
    for week in range(8):  # Supplier 0 says two days and takes three to eight
        monday = date(2026, 1, 12) - timedelta(weeks=10 - week)
        arrived = monday + timedelta(days=(3, 4, 7, 8)[week % 4])
        run("reorder", "place", "Supplier 0", "K0=4", "--at", f"{monday}T09:00")
        lot = ("--lot", f"W{week}", "--expiry", "2026-02-01", "--quantity", 4, "--into", "One")
        run("stock", "receive", "K0", *lot, "--order", f"O-{week + 1}", "--at", f"{arrived}T10:00")
        run(
            "stock",
            "discard",
            "K0",
            f"W{week}",
            "--quantity",
            4,
            "--why",
            "bench",
            "--by",
            "AB",
            "--at",
            f"{arrived}T11:00",
        )
    diary = ["id,procedure,start,patient,made"]
    for n in range(bookings):
        day = 3 + chance.randrange(28)
        made = date(2026, 3, 2) - timedelta(days=chance.randrange(1, 20))
        start = f"2026-03-{day:02}T{9 + n % 8:02}:{n % 60:02}"
        diary.append(f"X{n},p{chance.randrange(procedures)},{start},P-{n},{made}T10:00")
    past = [date(2025, 3, 3) + timedelta(days=chance.randrange(360)) for _ in range(5 * bookings)]
    for n, day in enumerate(past):
        made = day - timedelta(days=chance.randrange(2, 25))
        diary.append(f"Y{n},p{chance.randrange(procedures)},{day}T{9 + n % 8:02}:00,P-{900 + n},{made}T10:00")
    (folder / "bookings.csv").write_text("\n".join(diary) + "\n", encoding="utf-8")
    run("booking", "import", folder / "bookings.csv", "--at", "2026-02-28T08:00")
    store = opened(str(path))
    for n, day in enumerate(past):
        at = int(datetime(day.year, day.month, day.day, 18, tzinfo=UTC).timestamp())
        done(store, Act("AB", at, at, at_given=True), f"Y{n}", Outcome())
    rows = ["product,lot,quantity"]
    rows += [f"K{n},L{lot},{chance.randint(1, 4)}" for n in range(kits) for lot in range(3)]
    rows += [f"S{n},L{lot},{chance.randint(5, 40)}" for n in range(supplies) for lot in range(2)]
    for place, first in (("One", "K"), ("Two", "K"), ("Cupboard", "S")):
        here = [
            r for r in rows[1:] if r[0] == first and (first == "S" or int(r.split(",")[0][1:]) % 2 == (place == "One"))
        ]
        (folder / "count.csv").write_text("\n".join([rows[0], *here]) + "\n", encoding="utf-8")
        run("stock", "count", place, folder / "count.csv", "--at", "2026-02-28T12:00")
    for n in range(3):
        run("reorder", "place", f"Supplier {n + 3}", f"S{n}=50", "--at", "2026-02-28T13:00")
    return path


def seconds(path: Path, *words: str) -> float:
    """One command in a process of its own."""
    began = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", COMMAND, "--db", str(path), *words], capture_output=True, text=True)
    if done.returncode not in (0, 1):
        raise SystemExit(done.stderr)
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--small", action="store_true", help="a tenth of everything, to see that it runs")
    kits, supplies, procedures, bookings = (4, 26, 6, 20) if parser.parse_args().small else (40, 260, 60, 200)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        full, empty = filled(folder, kits, supplies, procedures, bookings), folder / "empty.db"
        os.environ["STOCKROOM_DB"] = str(empty)
        run("init", folder / "practice.toml", "--at", "2025-06-02T08:00")
        looks = [(full, ("reorder", "list", "--as-of", NOW)), (empty, ("stock", "list", "--as-of", NOW))]
        for path, words in looks:
            seconds(path, *words)
        runs = [[seconds(path, *words) for path, words in looks] for _ in range(9)]
    ours, start = (statistics.median(column) for column in zip(*runs, strict=True))
    ratio = statistics.median(a / b for a, b in runs)
    print(f"reorder list, {kits + supplies} products, {bookings} bookings  {ours:.3f} s")
    print(f"stock list, empty database            {start:.3f} s")
    print(f"ratio                                 {ratio:.2f} (at most 3)")


if __name__ == "__main__":
    main()
