"""The temperature of fridges over some days, ready to be drawn: readings as an envelope, checks, silences, excursions."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from stockroom.core.envelope import Step, envelope
from stockroom.core.opening import Opening
from stockroom.core.practice import Fridge
from stockroom.core.records import HandCheck
from stockroom.core.spells import Gap
from stockroom.errors import Refused
from stockroom.store import Link, fridges, ledger
from stockroom.tasks.excursions_now import ExcursionNow
from stockroom.tasks.fridge_now import FridgeNow, fridge_now, limits_inside
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import lots_now

DAY = 86_400
MOST_DAYS = 3660


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit that is drawn: ``high`` or low, and whose it is: the fridge's (no products) or the products' inside."""

    high: bool
    milli: int
    products: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FridgeChart:
    """One fridge in a window. ``steps`` are empty where no logger wrote; ``last`` is the newest value of any time."""

    fridge: Fridge
    limits: tuple[Limit, ...]
    steps: tuple[Step, ...]
    checks: tuple[HandCheck, ...]
    gaps: tuple[Gap, ...]
    excursions: tuple[ExcursionNow, ...]
    last: tuple[int, int] | None
    off: bool

    @property
    def empty(self) -> bool:
        """True where there is nothing to draw."""
        return not self.steps and not self.checks


@dataclass(frozen=True, slots=True)
class Chart:
    """What ``fridge chart`` draws: the window [start, as_of] in the practice's zone, fridge by fridge."""

    as_of: int
    start: int
    days: int
    practice: str
    opening: Opening
    fridges: tuple[FridgeChart, ...]

    @property
    def zone(self) -> ZoneInfo:
        """The practice's own time zone."""
        return self.opening.zone


def chart(
    conn: Link, as_of: int, days: int, parts: int, *, fridge: str | None = None, site: str | None = None
) -> Chart:
    """Every fridge of the practice (or site), or the one named, over the ``days`` that end at ``as_of``.

    ``parts``: into how many steps the readings of the window are put together. Raises: Refused.
    """
    if not 1 <= days <= MOST_DAYS:
        raise Refused("bad-days", f"{days} days cannot be drawn", f"give 1 to {MOST_DAYS}")
    rule = rules(conn, as_of)
    start = as_of - days * DAY
    sites = rule.sites(site)
    shown = [f for f in rule.practice.fridges if f.site in sites and fridge in (None, f.name)]
    drawn = tuple(_drawn(conn, rule, f, start, as_of, parts) for f in shown)
    return Chart(as_of, start, days, rule.practice.name, rule.opening(sites[0]), drawn)


def _drawn(conn: Link, rule: Rules, fridge: Fridge, start: int, end: int, parts: int) -> FridgeChart:
    now = fridge_now(conn, rule, fridge.name, end, start)
    limits = _limits(conn, rule, fridge, end)
    key = ledger.place_key(conn, fridge.name)
    if key is None:
        return FridgeChart(fridge, limits, (), (), (), (), None, now.off)
    at, milli = fridges.series(conn, key, start, end)
    shown = [g for g in now.gaps if g.start < end and (g.end is None or g.end > start)]
    checks = tuple(c for c in fridges.hand_checks(conn, key, fridge.name, end) if c.at >= start)
    steps = tuple(envelope(at, milli, start, end, parts, shown))
    return FridgeChart(
        fridge, limits, steps, checks, tuple(shown), tuple(within(now, start, end)), now.last, now.off
    )  # fmt: skip


def within(now: FridgeNow, start: int, end: int) -> Sequence[ExcursionNow]:
    """The excursions of a fridge that reach into [start, end), in order of time."""
    return [
        e
        for e in now.excursions
        if (e.anchor_at if e.event is None else e.event.start) < end
        and (
            e.anchor_at >= start
            if e.event is None
            else e.event.end is None or e.event.end > start or e.event.start >= start
        )
    ]


def _limits(conn: Link, rule: Rules, fridge: Fridge, at: int) -> tuple[Limit, ...]:
    """The fridge's own limits, and narrower ones of what stands inside at an instant."""
    own = [Limit(True, fridge.high), Limit(False, fridge.low)]
    low, high = limits_inside(conn, rule, fridge, at)
    inside = sorted({x.lot.product for x in lots_now(conn, at).values() if x.state.quantity(fridge.name)})
    keeps = [(code, p.keep) for code in inside if (p := rule.practice.product(code)) and p.keep is not None]
    if high < fridge.high:
        own.append(Limit(True, high, tuple(c for c, k in keeps if k.high == high)))
    if low > fridge.low:
        own.append(Limit(False, low, tuple(c for c, k in keeps if k.low == low)))
    return tuple(own)
