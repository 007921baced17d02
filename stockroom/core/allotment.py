"""Which kit each need is given: promises first, then all other kits at once, out or in the fridge.

One allotment per product and site, since a kit serves where it stands.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from operator import attrgetter
from typing import NamedTuple, TypeVar

from stockroom.core.matching import Option, Want, assignment
from stockroom.core.opening import Opening
from stockroom.core.practice import Practice, Product
from stockroom.core.takeout import (
    FridgeStock,
    Habits,
    Kit,
    TakeOut,
    habits,
    last_use,
    ready_at,
    take_out,
    time_left,
)


class Need(NamedTuple):
    """One kit that a booking wants; a booking that uses two has two. ``promised``: pulls promised to the booking."""

    booking: int
    start: int
    end: int
    procedure: str
    product: str
    site: str
    promised: tuple[int, ...] = ()


@dataclass(slots=True)
class Allotment:
    """What one product at one site is asked for, and what was given to whom.

    ``today`` is the local day of ``now``. ``times`` runs beside ``needs``. ``promised`` maps a need's position to a kit. ``given`` runs beside ``needs``
    too and holds a position in ``sources`` (and in ``options``), or None. ``free`` are the kits out that are
    promised to nobody. ``wants`` are the needs without a promise, in the same order.
    """

    product: Product
    site: str
    opening: Opening
    habit: Habits
    now: int
    today: date
    needs: list[Need]
    stock: list[FridgeStock]
    times: list[TakeOut] = field(default_factory=list)
    promised: dict[int, Kit] = field(default_factory=dict)
    free: list[Kit] = field(default_factory=list)
    wants: list[Want] = field(default_factory=list)
    options: list[Option] = field(default_factory=list)
    sources: list[Kit | FridgeStock] = field(default_factory=list)
    given: list[int | None] = field(default_factory=list)

    def source(self, position: int) -> Kit | FridgeStock | None:
        """The kit, or the lot in the fridge, that serves a need."""
        kit, chosen = self.promised.get(position), self.given[position]
        return kit if kit is not None else None if chosen is None else self.sources[chosen]

    @property
    def given_to_wants(self) -> list[int | None]:
        """``given`` without the promises, beside ``wants``."""
        return [chosen for i, chosen in enumerate(self.given) if i not in self.promised]

    @property
    def usable(self) -> int:
        """How many usable kits there are, those out included."""
        return len(self.promised) + len(self.free) + sum(stock.quantity for stock in self.stock)


def allotments(
    needs: Sequence[Need],
    out_kits: Sequence[Kit],
    fridge_stock: Sequence[FridgeStock],
    practice: Practice,
    openings: Mapping[str, Opening],
    now: int,
    *,
    besides: Mapping[tuple[str, str], int] | None = None,
    only: Collection[tuple[str, str]] | None = None,
) -> list[Allotment]:
    """One for each site and product that warms and is needed; with ``only`` for these (site, product) alone.

    ``besides``: (site, product) -> kits that may be wanted on top; these have an allotment even without a need,
    and so many more kits of each lot among their options.
    """
    products = {p.code: p for p in practice.products if p.warms}
    extra = dict(besides or {})
    wanted, kits, stock = _by_kind(needs), _by_kind(out_kits), _by_kind(fridge_stock)
    bookings = {need.booking for need in needs}
    made: list[Allotment] = []
    for site, code in dict.fromkeys([*extra, *wanted]):
        if (product := products.get(code)) is None or (only is not None and (site, code) not in only):
            continue
        here = sorted(wanted.get((site, code), ()), key=attrgetter("start", "end", "booking"))
        lots = [s for s in stock.get((site, code), ()) if s.quantity > 0]
        lots.sort(key=lambda s: (s.expiry_end is None, s.expiry_end or 0, -s.out_before))
        opening = openings[site]
        one = Allotment(product, site, opening, habits(practice), now, opening.day(now), here, lots)
        _give(one, kits.get((site, code), []), bookings, extra.get((site, code), 0))
        made.append(one)
    return made


Kind = TypeVar("Kind", Need, Kit, FridgeStock)


def _by_kind(them: Iterable[Kind]) -> dict[tuple[str, str], list[Kind]]:
    """(site, product) -> those of that site and product, in their order."""
    found: dict[tuple[str, str], list[Kind]] = {}
    for one in them:
        found.setdefault((one.site, one.product), []).append(one)
    return found


def fits(kit: Kit, product: Product, start: int, end: int) -> bool:
    """True where a kit that is out is warm by the start and good to the end."""
    limit = last_use(kit, product)
    return ready_at(kit, product) <= start and (limit is None or end <= limit)


def want(now: int, start: int, end: int, times: TakeOut) -> Want:
    """A kit wanted, as the matching sees it: how long it would be out where somebody can still take it out."""
    moment = times.staffed_by
    return Want(start, end, None if moment is None or moment < now else end - moment)


def _give(one: Allotment, kits: list[Kit], bookings: set[int], extra: int) -> None:
    """Keep the promises, then give out the rest."""
    warmup, left, opening, habit = one.product.warmup_seconds, time_left(one.product), one.opening, one.habit
    one.times = [take_out(need.start, need.end, warmup, left, opening, habit) for need in one.needs]
    _keep_promises(one, kits, bookings)
    unpromised = [i for i in range(len(one.needs)) if i not in one.promised]
    one.wants = [want(one.now, one.needs[i].start, one.needs[i].end, one.times[i]) for i in unpromised]
    one.sources = [*one.free]
    one.options = [_option(one, kit) for kit in one.free]
    for stock in one.stock:
        # More kits of a lot than bookings change nothing, so a full fridge costs no more than a busy week.
        pieces = min(stock.quantity, len(unpromised) + extra)
        one.sources += [stock] * pieces
        one.options += [_option(one, stock)] * pieces
    one.given = [None] * len(one.needs)
    for i, chosen in zip(unpromised, assignment(one.wants, one.options), strict=True):
        one.given[i] = chosen


def _option(one: Allotment, source: Kit | FridgeStock) -> Option:
    """A kit as the matching sees it: when it is or could be ready, and how long it is good."""
    if isinstance(source, Kit):
        return Option(ready_at(source, one.product), last_use(source, one.product), True)
    left = time_left(one.product, source.out_before)
    return Option(one.now + one.product.warmup_seconds, source.expiry_end, False, left)


def _keep_promises(one: Allotment, kits: list[Kit], bookings: set[int]) -> None:
    """Sort the kits out into promised and free.

    A kit whose booking stands but which can no longer serve it is free. One whose booking has started, is not
    among the needs, or has all its kits already is not offered to others.
    """
    if not kits:
        return
    named = {pull: need.booking for need in one.needs for pull in need.promised}
    started = {need.booking for need in one.needs if need.start <= one.now}
    holders = {named.get(kit.pull) if kit.promised_to is None else kit.promised_to for kit in kits}
    places: dict[int, list[int]] = {}
    for i, need in enumerate(one.needs):
        if need.booking in holders:
            places.setdefault(need.booking, []).append(i)
    for kit in sorted(kits, key=lambda k: _soonest(last_use(k, one.product), k.pull)):
        holder = named.get(kit.pull) if kit.promised_to is None else kit.promised_to
        meant = [] if holder is None else places.get(holder, [])
        able = [i for i in meant if fits(kit, one.product, one.needs[i].start, one.needs[i].end)]
        unserved = [i for i in able if i not in one.promised]
        if unserved:
            one.promised[unserved[0]] = kit
        elif holder is None or (holder in bookings and holder not in started and not able):
            one.free.append(kit)


def _soonest(limit: int | None, number: int) -> tuple[bool, int, int]:
    return (limit is None, limit or 0, number)
