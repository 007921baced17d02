"""How long the warm-up plan takes: python tests/bench/planning.py [--small]

First ten thousand bookings and ten thousand kits of a database, all in the fridge, three in ten out, all out: the plan,
down to its last row and word, against reading bookings and kits (what stands where, held for what, out since when) from
the database as every command does; at most twice as long. The plan's time is that of both, less that of reading.

Then ten thousand bookings and ten thousand kits that are out for 48 hours each, against networkx's maximum matching on the
same pairs (at least 20 times faster); both must serve as many. All in one process, medians in turn. The instance is
made up: a year of bookings, one in ten of them blocked.
"""

import argparse
import random
import statistics
import tempfile
import time
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from pathlib import Path

import networkx as nx
from full_practice import NOW, full_practice

from stockroom.cli.main import collect_seldom
from stockroom.core.matching import Option, Want, assignment, serves
from stockroom.tasks.diary import coming
from stockroom.tasks.rules import rules
from stockroom.tasks.warm_plan import kits_now, warm_plan

HOUR, DAY = 3600, 86_400


def instance(n: int) -> tuple[list[Want], list[Option]]:
    """``n`` bookings of a year and ``n`` kits that are out, each good for 48 hours."""
    chance = random.Random(1)
    wants, options = [], []
    for _ in range(n):
        start = chance.randrange(365) * DAY + chance.randrange(32, 68) * 900
        blocked = chance.random() < 0.1
        wants.append(Want(start, start + chance.choice([95, 105, 115]) * 60, None if blocked else 26 * HOUR))
        ready = chance.randrange(365 * 96) * 900
        options.append(Option(ready, ready + 48 * HOUR, True))
    return wants, options


def pairs(wants: Sequence[Want], options: Sequence[Option]) -> list[tuple[int, int]]:
    """Every (booking, kit) of which the kit can serve the booking."""
    order = sorted(range(len(wants)), key=lambda i: wants[i].start)
    starts = [wants[i].start for i in order]
    found = []
    for k, option in enumerate(options):
        last = option.use_by if option.use_by is not None else starts[-1]
        for j in range(bisect_left(starts, option.ready), bisect_right(starts, last)):
            if serves(option, wants[order[j]]):
                found.append((order[j], len(wants) + k))
    return found


def timed(work: Callable[[], object]) -> float:
    """Seconds."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def against_reading(n: int) -> None:
    """Planning against reading, for each kind of practice; processor time, medians of five in turn."""
    for kind in ("fridge", "mixed", "out"):
        with tempfile.TemporaryDirectory() as folder:
            store = full_practice(Path(folder), kind, n)
            read, both = [], []
            for _ in range(5):
                with store.reading() as conn:
                    rule = rules(conn, NOW)
                    began = time.process_time()
                    coming(conn, rule, NOW, rule.sites(None))
                    kits_now(conn, rule, NOW, rule.sites(None))
                    read.append(time.process_time() - began)
                with store.reading() as conn:
                    rule = rules(conn, NOW)
                    began = time.process_time()
                    made = warm_plan(conn, NOW, rule=rule)
                    both.append(time.process_time() - began)
            a, b = statistics.median(read), statistics.median(both)
            served = sum(row.state in ("ready", "warming", "due", "planned") for row in made.rows)
            print(
                f"{kind}: {served:,} of {len(made.rows):,} served; read {a:.3f} s, planned {b - a:.3f} s: {(b - a) / a:.2f} x (at most 2)"
            )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--small", action="store_true", help="a tenth of everything, to see that it runs")
    n = 1000 if parser.parse_args().small else 10_000
    collect_seldom()  # as the program's own entry does
    against_reading(n)
    wants, options = instance(n)
    graph = nx.Graph()
    graph.add_nodes_from(range(n), bipartite=0)
    graph.add_nodes_from(range(n, 2 * n), bipartite=1)
    graph.add_edges_from(pairs(wants, options))
    served = sum(k is not None for k in assignment(wants, options))
    reference = nx.bipartite.maximum_matching(graph, top_nodes=range(n))
    if served != len(reference) // 2:
        raise SystemExit(f"{served} served, {len(reference) // 2} could be")
    ours, theirs = [], []
    for _ in range(3):
        ours.append(timed(lambda: assignment(wants, options)))
        theirs.append(timed(lambda: nx.bipartite.maximum_matching(graph, top_nodes=range(n))))
    a, b = statistics.median(ours), statistics.median(theirs)
    print(f"{n:,} bookings, {n:,} kits, {graph.number_of_edges():,} pairs, {served:,} served by both")
    print(f"assignment {a:.3f} s, networkx {b:.3f} s: {b / a:.1f} times faster (at least 20)")


if __name__ == "__main__":
    main()
