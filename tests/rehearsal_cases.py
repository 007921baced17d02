"""What a rehearsal is held against: an exact Markov chain, and stock played piece by piece with lists."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stockroom.core.play import Counts, Drawn, Plan, Played
from stockroom.core.rehearsal import played

Rule = Callable[[tuple[int, ...], tuple[int, ...]], int]
"""(pieces left over by age, oldest first; on order, next to come first) -> what to order."""


def poisson(mean: float) -> list[float]:
    return [math.exp(-mean + k * math.log(mean) - math.lgamma(k + 1)) for k in range(int(mean + 12 * mean**0.5 + 20))]


def negative_binomial(mean: float, variance: float) -> list[float]:
    q, r = 1 - mean / variance, mean * mean / (variance - mean)
    return [
        math.exp(math.lgamma(k + r) - math.lgamma(r) - math.lgamma(k + 1) + r * math.log(1 - q) + k * math.log(q))
        for k in range(150)
    ]


def up_to(level: int, pack: int = 1) -> Rule:
    return lambda old, due: max(0, -((sum(old) + sum(due) - level) // pack) * pack)


def corrected(level: int, mean: int, watched: int) -> Rule:
    """With the estimated withdrawal and ageing of so many period ends, at ``mean`` pieces a period."""

    def rule(old: tuple[int, ...], due: tuple[int, ...]) -> int:
        stock, fades = list(old), 0
        for period in range(watched):
            stock.append(due[period] if period < len(due) else 0)
            left = mean
            for age, pieces in enumerate(stock):
                taken = min(pieces, left)
                stock[age] -= taken
                left -= taken
            fades += stock.pop(0)
        return max(0, level - sum(old) - sum(due) + fades)

    return rule


@dataclass(frozen=True)
class Exact:
    """Long-run means of a period."""

    states: int
    wasted: float
    lost: float
    short: float
    ordered: float
    kept: float
    fill: float


def chain(life: int, lead: int, demand: list[float], rule: Rule) -> Exact:
    """The stationary means: order by what was left over and is on order, what was ordered ``lead`` periods ago comes,
    demand takes the oldest first, the rest of it is lost, what has been there ``life`` periods is discarded.
    """
    start = ((0,) * (life - 1), (0,) * lead)
    number, open_, rows = {start: 0}, [start], []
    while open_:
        old, due = state = open_.pop()
        order = rule(old, due)
        come, *coming = (*due, order)
        means = np.zeros(5)
        to: dict[int, float] = {}
        for wanted, chance in enumerate(demand):
            stock, left = [*old, come], wanted
            for age, pieces in enumerate(stock):
                taken = min(pieces, left)
                stock[age] -= taken
                left -= taken
            wasted, *rest = stock
            after = (tuple(rest), tuple(coming))
            if after not in number:
                number[after] = len(number)
                open_.append(after)
            to[number[after]] = to.get(number[after], 0) + chance
            means += chance * np.array([wasted, left, left > 0, order, sum(rest)])
        rows.append((number[state], to, means))
    n = len(number)
    system, values = np.zeros((n + 1, n)), np.zeros((n, 5))
    for i, to, means in rows:
        for j, chance in to.items():
            system[j, i] += chance
        system[i, i] -= 1
        values[i] = means
    system[n] = 1
    share = np.linalg.lstsq(system, np.eye(n + 1)[n], rcond=None)[0]
    wasted, lost, short, ordered, kept = share @ values
    mean = sum(k * p for k, p in enumerate(demand))
    return Exact(n, wasted, lost, short, ordered, kept, 1 - lost / mean)


def simple_plan(
    life: int, lead: int, levels: list[int], periods: int, *, pack: int = 1, mean: float | None = None, burn: int = 0
) -> Plan:
    """One row for each level, an order in every period; with ``mean`` the waste correction is made."""
    rows, t = len(levels), np.arange(periods, dtype=np.int32)[:, None]
    every = np.zeros((1, rows), np.int32)
    return Plan(
        periods=periods, level=np.tile(np.array(levels, np.int32), (periods, 1)), arrives=t + lead + every,
        life=np.full(rows, life, np.int32), pack=np.full(rows, pack, np.int32), counted_from=burn,
        expected=None if mean is None else np.full((periods + lead + 1, rows), float(mean)),
        watched=None if mean is None else t + lead - 1 + every,
    )  # fmt: skip


def rehearsed(
    plan: Plan, draw: Callable[[np.random.Generator, tuple[int, ...]], Counts], runs: int, seed: int
) -> Played:
    def drawn(number: int, size: int) -> Drawn:
        return Drawn(draw(np.random.default_rng([seed, number]), (plan.periods, 1, size)).astype(np.int32))

    return played(plan, drawn, runs)


def by_the_piece(plan: Plan, drawn: Drawn, row: int, run: int) -> dict[str, int]:
    """One row and run of a plan, every piece an item of a list: what ``played`` must count, by its names."""
    life, pack = int(plan.life[row]), int(plan.pack[row])
    stock = [last for r, last, n in plan.lots if r == row for _ in range(n)]  # last period of use of every piece
    due = [(period, n, period, period) for r, period, n in plan.coming if r == row]  # comes, pieces, expected, overdue
    count = dict.fromkeys(("demand", "lost", "short", "wasted", "kept", "ordered", "gain", "peak"), 0)
    begun = touched = False
    before = 0
    for t in range(plan.periods):
        position = len(stock) + sum(n for _, n, _, _ in due)
        if t == plan.counted_from:
            count = dict.fromkeys(count, 0)
            begun, touched, before, count["peak"] = False, False, position, len(stock)
        if plan.arrives[t, row] >= 0:
            known, leaving, lasting = (
                None if x is None else int(x[t, row % x.shape[1], run])
                for x in (drawn.known, drawn.leaving, drawn.lasting)
            )
            # whoever orders knows of what has been expected by now only that it does not stand there
            missing = sum(n for period, n, _, overdue in due if overdue <= t < period - plan.unready)
            told = [
                (period if overdue <= t else expected, n)
                for period, n, expected, overdue in due
                if not overdue <= t < period - plan.unready
            ]
            fades = 0 if plan.watched is None else _fades(plan, row, t, stock, told)
            counted = position - missing
            need = int(plan.level[t, row]) + (known or 0) - counted + fades
            packs = max(0, math.ceil(need / pack))
            if packs and plan.least is not None:
                packs = max(packs, int(plan.least[row]))
            limits = []
            if plan.room is not None:
                limits.append(int(plan.room[row]) - counted + min(len(stock), leaving or 0))
            if lasting is None and plan.lasting is not None:
                lasting = int(plan.lasting[t, row])
            if lasting is not None:
                limits.append(lasting - counted + fades)
            most = min((max(0, n // pack) for n in limits), default=packs)
            cut, packs = most < packs, min(packs, most)
            if not cut:
                could = (
                    b.packs
                    for b in plan.breaks
                    if packs < b.packs and b.cheaper[packs] and (not limits or b.packs <= most)
                )
                packs = next(could, packs)
            pieces = packs * pack
            if t == 0 and plan.first is not None and plan.first[row] >= 0:
                pieces = int(plan.first[row])
            soonest = int(plan.arrives[t, row])
            comes = soonest + (0 if drawn.late is None else int(drawn.late[t, run]))
            expected = comes if plan.patience is None else soonest + int(plan.patience[t])
            due.append(
                (comes, pieces, expected, comes if plan.patience is None else max(t + 1, expected - plan.unready))
            )
            count["ordered"] += pieces
        came = sum(order[1] for order in due if order[0] == t)
        stock += [t + life - 1] * came
        due = [order for order in due if order[0] > t]
        count["kept"] += plan.unready * came
        count["peak"] = max(count["peak"], len(stock) + sum(n for period, n, _, _ in due if period <= t + plan.unready))
        wanted = int(drawn.demand[t, row % drawn.demand.shape[1], run])
        stock.sort()
        lost = max(0, wanted - len(stock))
        stock = stock[wanted:]
        count["demand"] += wanted
        count["lost"] += lost
        if plan.cycle_begins is None:
            count["short"] += lost > 0
        else:
            if plan.cycle_begins[t, row]:
                count["short"] += begun and touched
                begun, touched = True, False
            touched |= lost > 0
        count["wasted"] += sum(last <= t for last in stock)
        stock = [last for last in stock if last > t]
        count["kept"] += len(stock)
    count["gain"] = len(stock) + sum(n for _, n, _, _ in due) - before
    return count


def _fades(plan: Plan, row: int, t: int, stock: list[int], due: list[tuple[int, int]]) -> int:
    """The estimated ageing: what would expire if demand were as expected, first expired first out, in whole pieces.
    First lots that outlast any delivery up to now are not in it.
    """
    assert plan.watched is not None and plan.expected is not None
    life, fades = int(plan.life[row]), 0.0
    heap = [[last, 1.0] for last in stock if last - life + 1 < max(t, 1)]
    for period in range(t, int(plan.watched[t, row]) + 1):
        heap += [[period + life - 1, float(n)] for p, n in due if p == period]
        heap.sort()
        left = float(plan.expected[period, row])
        for piece in heap:
            taken = min(piece[1], left)
            piece[1] -= taken
            left -= taken
        fades += sum(piece[1] for piece in heap if piece[0] <= period)
        heap = [piece for piece in heap if piece[0] > period]
    return math.floor(fades + 0.5 + 1e-9)
