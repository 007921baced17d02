"""In a group of sites: what one has too many of and another needs, to be moved before anything is ordered."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from stockroom.core.orders import OrderInput
from stockroom.core.practice import Product
from stockroom.core.transfers import Movable, Transfer, transfers
from stockroom.core.units import degrees, quoted, quoted_lot
from stockroom.core.when import day_text
from stockroom.store import Link
from stockroom.tasks.list_stock import StockRow
from stockroom.tasks.order_basis import SiteNow, free_space
from stockroom.tasks.refuge import fit_fridges
from stockroom.tasks.rules import Rules

PLENTY = 1_000_000
"""Room of a place without a limit."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """Pieces of one lot that should go from a site to another. ``expiring``: they would expire unused where they are."""

    product: Product
    lot: str
    expiry: date | None
    pieces: int
    site: str
    place: str
    target_site: str
    target_place: str
    expiring: bool
    unseen: bool
    """True where nobody knows how cold the target is now."""

    @property
    def told(self) -> str:
        """For people: what goes where, and why."""
        best = "" if self.expiry is None else f" (to {day_text(self.expiry)})"
        why = f"would expire unused at {self.site}" if self.expiring else f"more than {self.site} needs"
        return f"{self.pieces} x {self.product.code} lot {self.lot}{best} from {self.site} to {self.target_site}: {why}"

    @property
    def command(self) -> str:
        """The command that records it."""
        return (
            f"stockroom stock move {self.product.code} {quoted_lot(self.lot)} --quantity {self.pieces} "
            f"--from {quoted(self.place)} --to {quoted(self.target_place)}"
        )

    @property
    def on_the_way(self) -> str | None:
        """What to heed on the way with what is kept cold, None for the rest."""
        keep = self.product.keep
        if keep is None:
            return None
        low, high = degrees(keep.low), degrees(keep.high)
        limits = f"at {low[:-3]} to {high}" if keep.low is not None and keep.high is not None else "cold"
        unseen = f"; nobody knows how cold {self.target_place} is now" if self.unseen else ""
        return f"keep {self.product.code} {limits} on the way, where nobody measures it unless you do{unseen}"


Givens = Mapping[str, Mapping[str, tuple[OrderInput, int]]]
"""Site -> product -> (what its line stands on, its need)."""


def proposed_transfers(conn: Link, rule: Rules, sites: Sequence[SiteNow], givens: Givens) -> list[Proposed]:
    """What should be moved between sites, product by product in the practice file's order."""
    room = {here.name: free_space(here) for here in sites}
    filled: dict[str, int] = {}
    found: list[Proposed] = []
    for product in rule.practice.products:
        lines = {here.name: line for here in sites if (line := givens[here.name].get(product.code))}
        needing = [site for site, (_, need) in lines.items() if need > 0]
        if not needing or len(lines) < 2:
            continue
        movable = [m for here in sites if here.name in lines for m in _movable(here, product)]
        if not movable:
            continue
        targets = {here.name: _target(conn, rule, here, product, filled) for here in sites if here.name in needing}
        inputs = {}
        for site, (given, _) in lines.items():
            target = targets.get(site)
            space = (
                [0]
                if target is None
                else [x for x in (target[1], room[site] if product.cold else None) if x is not None]
            )
            inputs[site] = replace(given, free_space=min(space, default=None))
        for t in transfers(inputs, movable):
            target = targets[t.target]
            assert target is not None  # without a place there was no room
            found.append(_proposed(rule, product, t, target))
            filled[target[0]] = filled.get(target[0], 0) + t.pieces * product.space
            left = room[t.target]
            if product.cold and left is not None:
                room[t.target] = left - t.pieces * product.space
    return found


def _proposed(rule: Rules, product: Product, t: Transfer, target: tuple[str, int | None, bool]) -> Proposed:
    # The end of use of what stands in a place is the midnight after its expiry day.
    expiry = None if t.end is None else rule.opening(t.site).day(t.end) - timedelta(days=1)
    return Proposed(
        product, t.lot, expiry, t.pieces, t.site, t.place, t.target, target[0], t.expiring, target[2],
    )  # fmt: skip


def _movable(here: SiteNow, product: Product) -> list[Movable]:
    """A product's usable pieces that stand in a place of the site: in a fridge, for what is kept cold."""
    found = []
    for row in here.rows:
        if row.product != product.code or row.state != "usable" or row.pull is not None:
            continue
        fridge = here.practice.fridge(row.place)
        if here.practice.site_of(row.place) != here.name or (product.cold and (fridge is None or row.expiry is None)):
            continue
        end = None if row.expiry is None else here.opening.midnight(row.expiry + timedelta(days=1))
        found.append(Movable(here.name, row.lot, row.place, end, row.quantity))
    return found


def _target(
    conn: Link, rule: Rules, here: SiteNow, product: Product, filled: Mapping[str, int]
) -> tuple[str, int | None, bool] | None:
    """(place, its room or None without a limit, whether it is unseen) for a product that comes to a site.

    What is kept cold goes to the fridge with the most room of those that are on and in order, one that is watched
    first; the rest to where most of it stands already, else to the first shelf.
    """
    if product.cold:
        fit = []
        for i, r in enumerate(fit_fridges(conn, rule, here.name, product, here.at)):
            room = None if r.spaces is None else r.spaces[1] - r.spaces[0] + product.space - filled.get(r.place, 0)
            fit.append((r.unseen, -(PLENTY if room is None else room), i, r.place, room))
        best = min(fit, default=None)
        return None if best is None else (best[3], best[4], best[0])
    stands: dict[str, int] = {}
    for row in here.rows:
        if row.product == product.code and row.pull is None and here.practice.site_of(row.place) == here.name:
            stands[row.place] = stands.get(row.place, 0) + row.quantity
    shelves = [s.name for s in here.practice.shelves if s.site == here.name]
    place = max(stands, key=lambda p: (stands[p], p), default=shelves[0] if shelves else None)
    return None if place is None else (place, None, False)


def as_moved(sites: Sequence[SiteNow], made: Sequence[Proposed]) -> list[SiteNow]:
    """The sites as they would stand with these transfers made."""
    rows = {here.name: list(here.rows) for here in sites}
    for t in made:
        giver = rows[t.site]
        i = next(
            i
            for i, r in enumerate(giver)
            if (r.product, r.lot, r.place, r.state, r.pull) == (t.product.code, t.lot, t.place, "usable", None)
        )
        row = giver[i]
        giver[i] = replace(row, quantity=row.quantity - t.pieces)
        rows[t.target_site].append(replace(row, place=t.target_place, quantity=t.pieces))
    return [replace(here, rows=tuple(sorted((r for r in rows[here.name] if r.quantity), key=_rank))) for here in sites]


def _rank(r: StockRow) -> tuple[str, date, str, str, str]:
    return r.product, r.expiry or date.max, r.lot, r.place, r.state


def told_on_line(made: Sequence[Proposed], site: str, product: str) -> str:
    """What the line of a site's product says about its transfers; empty where there are none."""
    into: dict[str, int] = {}
    out: dict[str, int] = {}
    for t in made:
        if t.product.code == product and site in (t.site, t.target_site):
            other, pieces = (t.target_site, out) if t.site == site else (t.site, into)
            pieces[other] = pieces.get(other, 0) + t.pieces
    said = [f"{n} of what is there to come from {other} first" for other, n in into.items()]
    said += [f"{n} besides what is there to go to {other} first" for other, n in out.items()]
    return "; ".join(said)
