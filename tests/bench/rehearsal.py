"""How long a rehearsal takes: python tests/bench/rehearsal.py [--small] [--environment DIR] [--without-reference]

Fifty products over 52 weeks, 2,000 runs of each, on weeks of a made-up past that are drawn again, for all products the
same weeks. Against the same policy written out by hand in numpy for just this (at most 1.5 times as long): once with the
ages of pieces as an axis, once with totals of what came and what went, as the program does it; the bar is against the
faster. Both must count what the program counts, to the piece. All in one process, medians in turn.

And against the simulation of stockpyl (at least 50 times faster), which plays one product and one run at a time: twenty of
its runs of 52 periods, scaled to as many. Its pieces do not expire and what is short is served later, so it has less to
do. It goes into an environment of its own, made here (some minutes, half a gigabyte) or named by --environment: wherever
it is installed it is loaded at every start of Python.
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
import tracemalloc
import venv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from stockroom.core.play import Counts, Drawn, Plan
from stockroom.core.rehearsal import CHUNK, played

REFERENCE = "stockpyl==1.0.2"
THEIRS = """
import time
from stockpyl.sim import simulation
from stockpyl.supply_chain_network import single_stage_system
def play(seed):
    network = single_stage_system(
        holding_cost=1, stockout_cost=4, demand_type="P", mean=3, policy_type="BS", base_stock_level=9, shipment_lead_time=1)
    simulation(network, 52, rand_seed=seed, progress_bar=False)
play(0)
began = time.perf_counter()
for seed in range(20):
    play(seed)
print((time.perf_counter() - began) / 20)
"""


@dataclass(frozen=True)
class Case:
    """Products with a past of 60 weeks, lives of 3 to 11 weeks, packs of 1 to 5, ordered every week, here a week later."""

    weeks: int
    runs: int
    past: Counts
    life: Counts
    pack: Counts
    level: Counts

    def draw(self, number: int, size: int) -> Counts:
        """(weeks, products, runs)."""
        week = np.random.default_rng([1, number]).integers(0, self.past.shape[1], (self.weeks, size))
        return self.past[:, week].transpose(1, 0, 2)


def case(products: int, weeks: int, runs: int) -> Case:
    chance = np.random.default_rng(0)
    past = chance.poisson(chance.uniform(0.5, 12, (products, 1)), (products, 60)).astype(np.int32)
    mean = past.mean(axis=1)
    return Case(
        weeks, runs, past, chance.integers(3, 12, products).astype(np.int32), chance.integers(1, 6, products).astype(np.int32),
        np.ceil(2 * mean + 2 * np.sqrt(2 * mean)).astype(np.int32),
    )  # fmt: skip


def ours(given: Case) -> list[int]:
    weeks = np.arange(given.weeks, dtype=np.int32)[:, None]
    plan = Plan(
        periods=given.weeks, level=np.tile(given.level, (given.weeks, 1)), arrives=weeks + np.ones_like(given.life),
        life=given.life, pack=given.pack,
    )  # fmt: skip
    got = played(plan, lambda number, size: Drawn(given.draw(number, size)), given.runs)
    return [int(x.sum()) for x in (got.lost, got.short, got.wasted, got.kept, got.ordered)]


def chunks(given: Case) -> list[Counts]:
    return [given.draw(n, min(CHUNK, given.runs - n * CHUNK)) for n in range(-(-given.runs // CHUNK))]


def with_ages(given: Case) -> list[int]:
    """By hand: stock[a] are the pieces that may still be used for a more weeks after this one."""
    found = np.zeros(5, np.int64)
    pack, level, rows = given.pack[:, None], given.level[:, None], np.arange(len(given.pack))
    for demand in chunks(given):
        stock = np.zeros((given.life.max(), *demand.shape[1:]), np.int32)
        lost, short, wasted, kept, ordered, there, due = (np.zeros(demand.shape[1:], np.int32) for _ in range(7))
        for week in range(given.weeks):
            order = np.maximum(-((there + due - level) // pack), 0) * pack
            stock[given.life - 1, rows] += due
            there += due
            left = demand[week].copy()
            for old in stock:
                taken = np.minimum(old, left)
                old -= taken
                left -= taken
                there -= taken
            lost += left
            short += left > 0
            wasted += stock[0]
            there -= stock[0]
            stock[:-1] = stock[1:]
            stock[-1] = 0
            kept += there
            ordered += order
            due = order
        found += [int(x.sum()) for x in (lost, short, wasted, kept, ordered)]
    return found.tolist()


def with_totals(given: Case) -> list[int]:
    """By hand: all that came by each week, and all that went."""
    found = np.zeros(5, np.int64)
    pack, level, rows = given.pack[:, None], given.level[:, None], np.arange(len(given.pack))
    for demand in chunks(given):
        shape = demand.shape[1:]
        asked = np.zeros((given.weeks + 1, *shape), np.int32)
        gone, lost, short, wasted, kept, a, b = (np.zeros(shape, np.int32) for _ in range(7))
        for week in range(given.weeks):
            np.subtract(gone, asked[week], out=a)
            a += level + (pack - 1)
            np.floor_divide(a, pack, out=a)
            np.maximum(a, 0, out=a)
            a *= pack
            np.add(asked[week], a, out=asked[week + 1])
            came = asked[week]
            np.subtract(came, gone, out=a)
            np.minimum(a, demand[week], out=b)
            gone += b
            np.subtract(demand[week], b, out=b)
            lost += b
            np.minimum(b, 1, out=b)
            short += b
            np.subtract(asked[np.maximum(week - given.life + 1, 0), rows], gone, out=b)
            np.maximum(b, 0, out=b)
            gone += b
            wasted += b
            np.subtract(came, gone, out=a)
            kept += a
        found += [int(x.sum()) for x in (lost, short, wasted, kept, asked[-1])]
    return found.tolist()


def timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def reference_seconds(environment: Path) -> float:
    """Seconds for one run of one product."""
    python = environment / ("Scripts" if sys.platform == "win32" else "bin") / "python"
    if not python.exists():
        print(f"making an environment for {REFERENCE}", flush=True)
        venv.create(environment, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", REFERENCE], check=True, stderr=subprocess.DEVNULL)
    return float(subprocess.run([python, "-c", THEIRS], check=True, capture_output=True, text=True).stdout)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--small", action="store_true", help="a tenth of the runs, to see that it works")
    parser.add_argument("--environment", type=Path, help="where stockpyl is, or is to be put")
    parser.add_argument("--without-reference", action="store_true", help="leave stockpyl out")
    told = parser.parse_args()
    given = case(50, 52, 200 if told.small else 2000)
    ways = {"the program": ours, "by hand, ages": with_ages, "by hand, totals": with_totals}
    counted = {name: way(given) for name, way in ways.items()}
    if len(set(map(tuple, counted.values()))) != 1:
        raise SystemExit(f"they do not count the same: {counted}")
    times: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(15):
        for name, way in ways.items():
            times[name].append(timed(lambda way=way: way(given)))
    middle = {name: statistics.median(found) for name, found in times.items()}
    print(f"50 products, 52 weeks, {given.runs:,} runs; lost, short, wasted, kept, ordered: {counted['the program']}")
    for name, seconds in middle.items():
        print(f"{name:16} {seconds:7.3f} s")
    mine = middle.pop("the program")
    faster = min(middle, key=lambda name: middle[name])
    ratio = statistics.median(a / b for a, b in zip(times["the program"], times[faster], strict=True))
    bar = "with so few runs it is what a period costs whatever its size" if told.small else "at most 1.5"
    print(f"ratio to the faster by hand {ratio:.2f} ({bar})")
    tracemalloc.start()
    ours(given)
    print(f"most memory at once {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB")
    tracemalloc.stop()
    if told.without_reference:
        return
    with tempfile.TemporaryDirectory() as folder:
        one = reference_seconds(told.environment or Path(folder) / "reference")
    theirs = one * len(given.pack) * given.runs
    print(
        f"stockpyl {one * 1000:.1f} ms a run of one product, {theirs:,.0f} s for as many: {theirs / mine:,.0f} times as long (at least 50)"
    )


if __name__ == "__main__":
    main()
