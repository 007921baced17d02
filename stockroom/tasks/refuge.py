"""Where the stock of a failed fridge can go: another fridge that is fit to take all of it, or a box."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from stockroom.core.practice import Fridge, Practice, Product
from stockroom.core.units import count, degrees, quoted
from stockroom.errors import nearest
from stockroom.store import Link
from stockroom.tasks.fridge_now import FridgeNow, fridge_open
from stockroom.tasks.places import SLIP_OF_A_NAME
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import LotNow, lots_there

BOXES = ("cool box", "carrying chest", "insulated bag")
"""Names for a box, of which the first that no place of the practice file resembles is proposed."""


@dataclass(frozen=True, slots=True)
class Refuge:
    """Where the stock of a failed fridge can go. ``place`` is no fridge (``fridge`` False) where none can take it."""

    place: str
    fridge: bool
    spaces: tuple[int, int] | None = None
    """(spaces taken once the stock is in it, its capacity), None where it has none."""
    unseen: bool = False
    """True where nobody knows how cold it is there now."""
    refused: tuple[str, ...] = ()
    """The other fridges of the site, and why each cannot take it."""

    @property
    def room(self) -> str:
        """How full it is with the stock in it, for people; empty where that is not known."""
        if self.spaces is None:
            return ""
        taken, capacity = self.spaces
        return f" ({'tight: ' if tight(taken, capacity) else ''}it then holds {taken} of its {capacity} spaces)"


def tight(taken: int, capacity: int) -> bool:
    """True where less than a tenth of a fridge would be left."""
    return (capacity - taken) * 10 < capacity


def move_all_command(source: str, target: str) -> str:
    """The command that empties a place into another."""
    return f"stockroom stock move --all --from {quoted(source)} --to {quoted(target)}"


def refuge_for(conn: Link, rule: Rules, place: str, site: str, as_of: int) -> Refuge:
    """Where all that stands in a place can go: another fridge of the site that is on, in order and has the space."""
    inside = [x for x in lots_there(conn, as_of).values() if x.state.quantity(place)]
    need = _spaces(rule.practice, inside, place)
    low, high = _kept(rule.practice, inside)
    fit, refused = _fit_fridges(conn, rule, [g for g in rule.practice.fridges if g.site == site and g.name != place],
        (low, high), need, as_of,
    )  # fmt: skip
    if fit:
        return fit[0]
    names = [g.name for g in rule.practice.fridges] + [s.name for s in rule.practice.shelves]
    box = next((b for b in BOXES if not nearest(b, names, SLIP_OF_A_NAME)), BOXES[0])
    return Refuge(box, False, refused=tuple(refused))


def fit_fridges(conn: Link, rule: Rules, site: str, product: Product, as_of: int) -> list[Refuge]:
    """The fridges of a site that one piece of a product could go into now, the best first."""
    here = [g for g in rule.practice.fridges if g.site == site]
    keep = (None, None) if product.keep is None else (product.keep.low, product.keep.high)
    return _fit_fridges(conn, rule, here, keep, product.space, as_of)[0]


def _fit_fridges(
    conn: Link, rule: Rules, fridges: Sequence[Fridge], keep: tuple[int | None, int | None],
    need: int, as_of: int,
) -> tuple[list[Refuge], list[str]]:  # fmt: skip
    """Those of some fridges that can take ``need`` spaces, the best first, and why each of the others cannot."""
    able: list[tuple[bool, bool, int, Refuge]] = []
    refused = []
    for i, g in enumerate(fridges):
        seen = fridge_open(conn, rule, g.name, as_of)
        taken = _spaces(rule.practice, lots_there(conn, as_of).values(), g.name) + need
        why = _cannot(seen, *keep, taken, need)
        if why:
            refused.append(f"{g.name} {why}")
            continue
        unseen = seen.last is None or seen.silent is not None
        full = g.capacity is not None and tight(taken, g.capacity)
        spaces = None if g.capacity is None else (taken, g.capacity)
        able.append((unseen, full, i, Refuge(g.name, True, spaces, unseen)))
    return [a[3] for a in sorted(able, key=lambda a: a[:3])], refused


def _cannot(g: FridgeNow, low: int | None, high: int | None, taken: int, need: int) -> str:
    """Why a fridge cannot take the stock, empty where it can."""
    if g.off:
        return "is switched off"
    # One that lasts counts even where an allowance still covers what stands there.
    open_ones = [f"E-{e.number}" for e in g.excursions if e.open or e.lasts]
    if open_ones:
        return f"has an open excursion of its own, {', '.join(open_ones)}"
    if (low is not None and g.fridge.high < low) or (high is not None and g.fridge.low > high):
        return f"is for {degrees(g.fridge.low)} to {degrees(g.fridge.high)}"
    if g.last is not None and ((low is not None and g.last[1] < low) or (high is not None and g.last[1] > high)):
        return f"reads {degrees(g.last[1])}"
    if g.fridge.capacity is not None and taken > g.fridge.capacity:
        left = max(0, g.fridge.capacity - (taken - need))
        return f"has {count(left, 'space')} left and this takes {need}"
    return ""


def _spaces(practice: Practice, lots: Iterable[LotNow], place: str) -> int:
    total = 0
    for x in lots:
        product = practice.product(x.lot.product)
        total += x.state.quantity(place) * (product.space if product else 1)
    return total


def _kept(practice: Practice, inside: Sequence[LotNow]) -> tuple[int | None, int | None]:
    """(low, high): the narrowest keep range of some lots."""
    keeps = [p.keep for x in inside if (p := practice.product(x.lot.product)) and p.keep is not None]
    lows = [k.low for k in keeps if k.low is not None]
    highs = [k.high for k in keeps if k.high is not None]
    return max(lows, default=None), min(highs, default=None)
