"""The rehearsal against exact Markov chains, against stock played piece by piece, and its bands' coverage.

Sources beside each check. The chains' order of events is that of core/rehearsal.py.
"""

import math
import random
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsal_cases import (
    Exact,
    Rule,
    by_the_piece,
    chain,
    corrected,
    negative_binomial,
    poisson,
    rehearsed,
    simple_plan,
    up_to,
)

from stockroom.core.bands import ratio_band, saved_band
from stockroom.core.packs import price_breaks
from stockroom.core.play import Drawn, Plan, Played
from stockroom.core.practice import PriceBreak, Product
from stockroom.core.rehearsal import CHUNK, played

# derived: exact Markov chains, lost sales, oldest first, solved elsewhere and by ``chain``: what is wasted, lost, ordered
# and left over in a period, and the chance that a period is short
CASES = [
    (2, 0, 5, 1, "3", 0.34455109150156227, 0.13462055627216357, 3.2099305352293954, 1.7900694647706041, 0.08391794203130332),
    (3, 0, 6, 1, "2", 0.4326573238535348, 0.005924383803736772, 2.426732940049799, 3.5732670599502017, 0.004533805526248935),
    (2, 1, 6, 1, "1.5", 0.7168431807941847, 0.058942105252799686, 2.1579010755413868, 1.6841978489172265, 0.042046384604617786),
    (3, 1, 5, 1, "1.2", 0.33896405997441403, 0.048949722640690564, 1.4900143373337187, 2.0199713253325617, 0.036109547624469766),
    (4, 1, 6, 1, "1.2 2.4", 0.3979910585255532, 0.10148790354362484, 1.4965031549819348, 3.0069936900361296, 0.04907022086091372),
    (3, 1, 4, 4, "1.2", 0.45025139605667314, 0.1326510189174674, 1.5176003771392006, 1.9696048372118806, 0.0840423183863584),
    (6, 1, 4, 1, "0.6", 0.15984771475974868, 0.009275375088656557, 0.7505723396710934, 2.4988553206578126, 0.007797606090159939),
]  # fmt: skip


def drawing(moments: list[float]):
    """Draws of a Poisson (mean) or negative binomial (mean, variance) demand."""
    if len(moments) == 1:
        return lambda chance, shape: chance.poisson(moments[0], shape)
    mean, variance = moments
    return lambda chance, shape: chance.negative_binomial(mean * mean / (variance - mean), mean / variance, shape)


def exact(life: int, lead: int, moments: list[float], rule: Rule) -> Exact:
    return chain(life, lead, poisson(*moments) if len(moments) == 1 else negative_binomial(*moments), rule)


def agrees(got: Played, row: int, want: Exact, errors: float = 4) -> None:
    """Every mean within so many of its own standard errors, which come from independent runs."""
    for name in ("wasted", "lost", "short", "ordered", "kept"):
        values = getattr(got, name)[row] / got.periods
        error = values.std(ddof=1) / math.sqrt(len(values))
        assert abs(values.mean() - getattr(want, name)) <= errors * error + 1e-12, name


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"life {c[0]} lead {c[1]} up to {c[2]} packs of {c[3]}")
def test_the_exact_chains_are_met_within_the_stated_error(case: tuple) -> None:
    life, lead, level, pack, text, wasted, lost, ordered, kept, short = case
    moments = [float(word) for word in text.split()]
    want = exact(life, lead, moments, up_to(level, pack))
    # the chain of these tests is the one that gave the figures
    assert (want.wasted, want.lost, want.ordered, want.kept, want.short) == pytest.approx(
        (wasted, lost, ordered, kept, short), abs=1e-8
    )
    got = rehearsed(simple_plan(life, lead, [level], 130, pack=pack, burn=30), drawing(moments), 1500, seed=5)
    agrees(got, 0, want)
    # derived: in the long run orders = demand - lost + waste
    assert want.ordered == pytest.approx(want.fill * moments[0] + want.wasted, abs=1e-9)


# derived: exact chains, life 3, lead 1, Poisson 2: level -> (wasted, served part of demand) without and with the
# correction (Broekmeulen & van Donselaar 2009) at 2 pieces a period
CORRECTED = {
    5: ((0.08832311925538536, 0.8614057027105908), (0.08813221500538285, 0.8647217812842558)),
    6: ((0.16216201668860414, 0.9263088821612254), (0.16299009092872052, 0.9307855874940659)),
    7: ((0.26602947274162136, 0.9640886533907476), (0.27060392685989176, 0.9684948400659618)),
    8: ((0.39864803113157743, 0.983904517331791), (0.4127624871558945, 0.9873053377783524)),
    9: ((0.556287591464418, 0.9933296882348519), (0.5925613071872546, 0.9955313979715291)),
}


def test_the_waste_correction_meets_its_exact_chains() -> None:
    levels = list(CORRECTED)
    plain = rehearsed(simple_plan(3, 1, levels, 130, burn=30), drawing([2.0]), 1500, seed=6)
    better = rehearsed(simple_plan(3, 1, levels, 130, burn=30, mean=2), drawing([2.0]), 1500, seed=7)
    for row, (level, (without, with_it)) in enumerate(CORRECTED.items()):
        for got, rule, figures in ((plain, up_to(level), without), (better, corrected(level, 2, 1), with_it)):
            want = exact(3, 1, [2.0], rule)
            assert (want.wasted, want.fill) == pytest.approx(figures, abs=1e-9)
            agrees(got, row, want)
    # and it pays: at the same service less is wasted than by any mixture of plain levels
    gain = saved_band(better.lost[2], better.wasted[2], plain.lost, plain.wasted)
    assert gain is not None and gain.low > 0


@pytest.mark.parametrize("seed", range(12))
def test_random_small_chains_are_met(seed: int) -> None:
    # derived: the tests' own chain, on instances that nobody chose
    chance = random.Random(seed)
    life, lead, pack = chance.randint(1, 4), chance.randint(0, 2), chance.choice([1, 1, 2, 3])
    level = chance.randint(1, 7 if life + lead < 5 else 5)
    moments = chance.choice([[round(chance.uniform(0.3, 3), 2)], [1.0, 2.5], [2.0, 3.0]])
    got = rehearsed(simple_plan(life, lead, [level], 120, pack=pack, burn=30), drawing(moments), 800, seed)
    agrees(got, 0, exact(life, lead, moments, up_to(level, pack)), errors=4.5)


@pytest.mark.parametrize(("life", "lead", "level", "mean"), [(2, 1, 6, 2), (3, 2, 8, 2), (4, 1, 7, 1), (2, 2, 7, 2)])
def test_other_corrected_chains_are_met(life: int, lead: int, level: int, mean: int) -> None:
    # derived: the tests' own chain; what expires by the end of the last period before the next order comes
    got = rehearsed(simple_plan(life, lead, [level], 120, burn=30, mean=mean), drawing([float(mean)]), 800, 3)
    agrees(got, 0, exact(life, lead, [float(mean)], corrected(level, mean, lead)), errors=4.5)


def test_two_day_life_with_delivery_next_morning() -> None:
    # published: Hendrix, Ortega, Haijema, Buisman & Garcia 2019, life 2, Poisson 5, price 1, cost 0.5; recomputed: the
    # plain base stock of 10 earns 2.0625879127426914 a period
    want = exact(2, 1, [5.0], up_to(10))
    assert 5 - want.lost - 0.5 * want.ordered == pytest.approx(2.0625879127426914, abs=1e-9)
    got = rehearsed(simple_plan(2, 1, [10], 130, burn=30), drawing([5.0]), 1500, seed=8)
    profit = (got.demand[0] - got.lost[0] - 0.5 * got.ordered[0]) / got.periods
    assert abs(profit.mean() - 2.0625879127426914) < 4 * profit.std(ddof=1) / math.sqrt(1500)


def test_what_never_expires_is_the_newsvendors() -> None:
    # published: Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed., example 4.7 (Poisson 6, holding 1, shortage
    # 4, best level 8): 3.5701068 a period. Without lead time nothing else is carried over, so lost demand costs the same
    got = rehearsed(simple_plan(10_000, 0, [8], 60), drawing([6.0]), 1500, seed=2)
    cost = (got.kept[0] + 4 * got.lost[0]) / got.periods
    assert abs(cost.mean() - 3.5701068) < 4 * cost.std(ddof=1) / math.sqrt(1500)
    assert not got.wasted.any()


@pytest.mark.parametrize(
    ("come", "wanted", "life", "outdated", "lost"),
    [(1.0, 1.2, 5.0, 0.08841974573716471, 0.2403497881143039), (1.0, 1.0, 4.0, 0.2, 0.2), (0.5, 0.6, 8.0, 0.059856973646094803, 0.26642828941015795)],
)  # fmt: skip
def test_deliveries_by_chance(come: float, wanted: float, life: float, outdated: float, lost: float) -> None:
    # published: Graves 1982; Kaspi & Perry 1983: pieces come one by one by chance, each lives so long, oldest first.
    # Played in short steps: a piece comes half a step after its period begins on average, so life + 1/2 steps. No order
    # is made; each row is a replication of its own.
    rows, steps = 250, 60
    step = life / (steps - 0.5)
    periods, burn = 60 * steps, 6 * steps
    chance = np.random.default_rng(9)
    arrivals = chance.poisson(come * step, (periods, rows))
    plan = Plan(
        periods=periods, level=np.zeros((periods, rows), np.int32), arrives=np.full((periods, rows), -1, np.int32),
        life=np.full(rows, steps, np.int32), pack=np.ones(rows, np.int32), counted_from=burn,
        coming=tuple((int(r), int(t), int(arrivals[t, r])) for t, r in zip(*arrivals.nonzero(), strict=True)),
    )  # fmt: skip
    demand = chance.poisson(wanted * step, (periods, rows, 1)).astype(np.int32)
    got = played(plan, lambda _, size: Drawn(demand), 1)
    for values, want in ((got.wasted, outdated), (got.lost, lost * wanted)):
        rate = values[:, 0] / (got.periods * step)
        assert abs(rate.mean() - want) < 4 * rate.std(ddof=1) / math.sqrt(rows) + 0.01 * want


def random_plan(seed: int) -> tuple[Plan, Drawn]:
    """Anything that a plan can say, on a small scale."""
    c = random.Random(seed)
    rows, runs, periods = c.randint(1, 3), c.randint(1, 3), c.randint(4, 14)

    def table(first: int, last: int, *shape: int) -> np.ndarray:
        return np.array([c.randint(first, last) for _ in range(math.prod(shape))], np.int32).reshape(shape)

    def perhaps(value):
        return value if c.random() < 0.4 else None

    life = table(1, c.choice([3, 6, 30]), rows)
    t = np.arange(periods, dtype=np.int32)[:, None]
    arrives = np.where(table(0, 2, periods, rows) > 0, t + table(0, 3, periods, rows), -1).astype(np.int32)
    plan = Plan(
        periods=periods, level=table(0, 9, periods, rows), arrives=arrives, life=life, pack=table(1, 4, rows),
        least=perhaps(table(1, 3, rows)), room=perhaps(table(2, 12, rows)), lasting=perhaps(table(2, 12, periods, rows)),
        lots=tuple((c.randrange(rows), c.randint(0, 9), c.randint(1, 5)) for _ in range(c.randint(0, 4))),
        coming=tuple((c.randrange(rows), c.randint(0, 5), c.randint(1, 4)) for _ in range(c.randint(0, 3))),
        breaks=price_breaks(some_breaks(c)) if c.random() < 0.4 else (),
        patience=perhaps(table(0, 3, periods)), first=perhaps(table(-1, 6, rows)),
        unready=c.choice([0, 0, 2]), counted_from=c.choice([0, 0, 3]),
        cycle_begins=perhaps(table(0, 3, periods, rows) == 0),
        **(
            {"watched": t + table(-1, 4, periods, rows), "expected": table(0, 30, periods + 5, rows) / 10}
            if c.random() < 0.5 else {}
        ),
    )  # fmt: skip
    demand = table(0, c.choice([2, 5]), periods, c.choice([1, rows]), runs)
    known, leaving, lasting = (perhaps(table(0, 4 + 4 * n, periods, c.choice([1, rows]), runs)) for n in range(3))
    return plan, Drawn(demand, known, leaving, lasting, perhaps(table(0, 4, periods, runs)))


def some_breaks(c: random.Random) -> Product:
    """A product with price breaks, some of which are never worth while."""
    prices = [Decimal(c.randint(0, 12)) / c.choice([1, 2, 3, 4]) for _ in range(4)]
    packs = c.sample(range(1, 9), c.randint(1, 3))
    breaks = tuple(PriceBreak(n, price) for n, price in zip(packs, prices[1:], strict=False))
    return Product("P", "a product", "kit", "Any", pack_size=c.randint(1, 5), pack_price=prices[0], price_breaks=breaks)


@settings(max_examples=400, deadline=None)
@given(st.integers(0, 2**32))
def test_every_count_is_that_of_stock_played_piece_by_piece(seed: int) -> None:
    plan, drawn = random_plan(seed)
    rows, runs = len(plan.life), drawn.demand.shape[2]
    got = played(plan, lambda _, size: drawn, runs)
    for row in range(rows):
        for run in range(runs):
            want = by_the_piece(plan, drawn, row, run)
            assert {k: int(getattr(got, k)[row % len(getattr(got, k)), run]) for k in want} == want


def test_books_balance_and_nothing_depends_on_how_many_runs_are_played_together() -> None:
    plan = simple_plan(4, 1, [4, 6], 60)
    many = rehearsed(plan, drawing([1.5]), 2 * CHUNK + 7, seed=1)
    few = rehearsed(plan, drawing([1.5]), CHUNK, seed=1)
    for name in ("demand", "lost", "wasted", "ordered", "kept", "peak", "short", "gain"):
        assert (getattr(many, name)[:, :CHUNK] == getattr(few, name)).all()
    # derived: for every run orders = demand - lost + waste + what the position gained
    assert (many.ordered == many.demand - many.lost + many.wasted + many.gain).all()
    assert many.lost.shape == (2, 2 * CHUNK + 7)


def test_books_that_do_not_balance_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    from stockroom.core import rehearsal

    serve = rehearsal._Chunk._serve

    def thief(chunk, t: int) -> None:
        serve(chunk, t)
        chunk.gone[0, 0] += 1

    monkeypatch.setattr(rehearsal._Chunk, "_serve", thief)
    with pytest.raises(ArithmeticError):
        rehearsed(simple_plan(4, 1, [4], 20), drawing([1.5]), 10, seed=1)


# --- how sure it is ---


@pytest.mark.parametrize(
    ("life", "lead", "level", "mean", "least"),
    [(2, 1, 6, 1.5, 0.915), (3, 0, 6, 2.0, 0.91), (3, 0, 8, 2.0, 0.89)],
    ids=["ordinary", "a short period in 220", "a short period in 4200"],
)
def test_nineteen_of_twenty_bands_hold_the_truth(life: int, lead: int, level: int, mean: float, least: float) -> None:
    # derived: the exact chain is the truth; 400 rehearsals of 100 runs each, side by side. Three standard errors of a
    # coverage of .95 are .033; the last case counts one short period on average, so its coverage comes in steps
    rows = 400
    plan = simple_plan(life, lead, [level] * rows, 60, burn=20)
    demand = np.random.default_rng(4).poisson(mean, (60, rows, 100)).astype(np.int32)
    got = played(plan, lambda _, size: Drawn(demand), 100)
    want = exact(life, lead, [mean], up_to(level))
    inside = {"lost": 0, "wasted": 0, "fill": 0, "short": 0}
    for row in range(rows):
        bands = {
            "lost": ratio_band(got.lost[row], got.periods),
            "wasted": ratio_band(got.wasted[row], got.periods),
            "short": ratio_band(got.short[row], got.cycles[row]),
            "fill": ratio_band(got.lost[row], got.demand[row]).rest(),
        }
        for name, band in bands.items():
            inside[name] += band.low <= getattr(want, name) <= band.high
    for name, number in inside.items():
        assert least <= number / rows <= 0.995, (name, number)


def test_what_never_happened_is_not_called_impossible() -> None:
    # published: rule of three, Hanley & Lippman-Hand 1983
    band = ratio_band(np.zeros(300), 10)
    assert (band.mean, band.low, band.high) == (0, 0, pytest.approx(3 / 300 / 10))
    assert ratio_band(np.zeros(5), np.zeros(5)).high == 0
    with pytest.raises(ValueError, match="band"):
        ratio_band([1.0], 1)


def test_a_saving_is_not_claimed_where_there_is_none() -> None:
    # derived: a level of the family itself saves nothing against it; the band must hold zero
    plain = rehearsed(simple_plan(3, 1, [5, 6, 7, 8], 130, burn=30), drawing([2.0]), 1000, seed=6)
    again = rehearsed(simple_plan(3, 1, [7], 130, burn=30), drawing([2.0]), 1000, seed=16)
    gain = saved_band(again.lost[0], again.wasted[0], plain.lost, plain.wasted)
    assert gain is not None and gain.low <= 0 <= gain.high
    # one that loses more than any level of the family cannot be compared with it
    assert saved_band(again.lost[0] + 200, again.wasted[0], plain.lost, plain.wasted) is None
