"""How good the forecasts were: the past replayed week by week, as far ahead as the orders really reach."""

from collections.abc import Sequence
from dataclasses import dataclass

from stockroom.core.forecasts import COMPLETE_WEEKS, EXPECTED, SIMPLEST_FIRST
from stockroom.core.practice import Practice
from stockroom.errors import Refused, unknown
from stockroom.store.engine import Store
from stockroom.tasks.expected_demand import Expected, expected_demand
from stockroom.tasks.order_basis import sites_now
from stockroom.tasks.places import folded
from stockroom.tasks.reorder import Planned, order_plan
from stockroom.tasks.rules import rules

MOST_WEEKS = 260


@dataclass(frozen=True, slots=True)
class Candidate:
    """One forecast over the replayed weeks. ``mase`` is None where the naive forecast never erred; ``covered`` in how many
    weeks its quantile was enough.
    """

    forecast: str
    mase: float | None
    mae: float
    rmse: float
    bias: float
    covered: int


@dataclass(frozen=True, slots=True)
class ProcedureRecord:
    """The forecasts of one procedure at a site, for as many weeks ahead as orders of some products reach, at their target.

    ``weeks`` were replayed; ``used`` is the forecast in words that the list uses, ``forecast`` its name.
    """

    site: str
    procedure: str
    products: tuple[str, ...]
    ahead: int
    target: float
    weeks: int
    forecast: str
    used: str
    why: str
    candidates: tuple[Candidate, ...]


@dataclass(frozen=True, slots=True)
class AccuracyReport:
    """What ``reorder accuracy`` answers; at most ``weeks`` were replayed."""

    as_of: int
    weeks: int
    records: tuple[ProcedureRecord, ...]


def accuracy(store: Store, as_of: int, word: str | None, weeks: int, site: str | None = None) -> AccuracyReport:
    """How the forecasts did up to an instant, of all procedures, of one, or of those that take a product.

    Raises: Refused for an unknown name or a number of weeks that cannot be.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise Refused("bad-weeks", f"{weeks} weeks cannot be replayed", f"give 1 to {MOST_WEEKS}")
    with store.reading() as conn:
        rule = rules(conn, as_of)
        wanted = None if word is None else _wanted(rule.practice, word)
        plan = order_plan(conn, rule, as_of, site)
        here = sites_now(conn, rule, as_of, rule.sites(site))
        expected = {e.here.name: e for e in expected_demand(conn, as_of, here)}
    found: list[ProcedureRecord] = []
    for name, one in expected.items():
        planned = [p for s in plan.suppliers if s.site == name for p in s.products]
        found += _site(one, planned, wanted, weeks)
    return AccuracyReport(as_of, weeks, tuple(found))


def _wanted(practice: Practice, word: str) -> str:
    """The code of a product or a procedure. Raises: Refused."""
    codes = list(dict.fromkeys([*(p.code for p in practice.procedures), *(p.code for p in practice.products)]))
    code = folded(word, codes)
    if code is None:
        raise unknown("unknown-product", "procedure or product", word, codes)
    return code


def _site(expected: Expected, planned: Sequence[Planned], wanted: str | None, weeks: int) -> list[ProcedureRecord]:
    """A record for each procedure, each number of weeks ahead and each target."""
    groups: dict[tuple[str, int, float], list[Planned]] = {}
    for p in planned:
        ahead = expected.outlook.blocks(p.line.covers_until)
        for part in p.still.parts:
            if wanted in (None, p.product.code, part.procedure):
                groups.setdefault((part.procedure, ahead, p.line.target), []).append(p)
    order = {p.code: n for n, p in enumerate(expected.here.practice.procedures)}
    ordered = sorted(groups.items(), key=lambda group: (order[group[0][0]], *group[0][1:]))
    return [_record(expected, procedure, target, group, weeks) for (procedure, _, target), group in ordered]


def _record(expected: Expected, code: str, target: float, planned: Sequence[Planned], weeks: int) -> ProcedureRecord:
    procedure, until = expected.here.procedures[code], planned[0].line.covers_until
    outlook = expected.outlook
    still = outlook.still(procedure, until, target)
    shown, chose = outlook.replay(procedure, until, weeks), outlook.replay(procedure, until)
    cold = still.forecast == EXPECTED and not still.replayed
    why = f"fewer than {COMPLETE_WEEKS} complete weeks of bookings" if cold else chose.reason(still.forecast, target)
    errors = shown.errors()
    candidates = tuple(
        Candidate(name, shown.mase(e.mae), e.mae, e.rmse, e.bias, shown.covered(name, target))
        for name in reversed(SIMPLEST_FIRST)
        if (e := errors.get(name)) is not None
    )
    return ProcedureRecord(
        expected.here.name, code, tuple(p.product.code for p in planned), outlook.blocks(until), target,
        len(shown.origins), still.forecast, still.words, why, candidates,
    )  # fmt: skip
