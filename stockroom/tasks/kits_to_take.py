"""Which kits leave the fridge: what the plan gives a booking, else first expired first out."""

from dataclasses import dataclass, replace
from datetime import date

from stockroom.core.practice import Product
from stockroom.core.records import Booking, Pull
from stockroom.errors import Refused
from stockroom.store import Link, ledger
from stockroom.tasks.act import Recording
from stockroom.tasks.shelves import LotNow, lot_named, lots_there_of, pulls_there
from stockroom.tasks.warm_plan import expiry_end, out_for, warm_plan


@dataclass(frozen=True, slots=True)
class Taken:
    """One kit to take: its lot and the place it stands in."""

    product: Product
    lot: LotNow
    place: str
    again: Pull | None = None
    """Its earlier outing, where it was out before and has been put back."""


def chosen(rec: Recording, kit: Product, n: int, site: str, lot: str | None, booking: Booking | None) -> list[Taken]:
    """The ``n`` kits to take: the lot that was named; else what the plan gives the booking; else first expired, first out.

    One that was out before goes first where it can still serve, to use up its hours; one that cannot, or is held, is
    taken only where no other is left. Raises: Refused where the record has too few.
    """
    found = _there(rec, kit, n, site, lot, booking)
    if sum(p.quantity for p in found) < n:
        have = sum(p.quantity for p in found)
        raise Refused(
            "no-usable-kit",
            f"{'lot ' + lot + ' has' if lot else 'the fridges have'} {have} usable {kit.code} on record, {n} wanted",
            "if it is there, count first: stockroom stock count PLACE; a held or expired one is named with --lot",
        )
    planned = [] if booking is None or lot is not None else _planned(rec, kit, booking)
    taken: list[Taken] = []
    for i in range(n):
        wanted = planned[i] if i < len(planned) else None
        best = min((p for p in found if p.quantity), key=lambda p: (not p.serves, p.name != wanted, p.held, p.order))
        best.quantity -= 1
        taken.append(Taken(kit, best.lot, best.place, best.again))
    return taken


@dataclass(slots=True)
class _There:
    """Pieces of one lot in one place that are alike: fresh ones, or one that was out before (``again``)."""

    lot: LotNow
    place: str
    quantity: int
    held: bool
    again: Pull | None
    spent: int
    serves: bool

    @property
    def name(self) -> tuple[str, str, int]:
        """As the plan names what it takes."""
        return (self.lot.lot.code, self.place, self.spent)

    @property
    def order(self) -> tuple[date, str, str, int, int]:
        """First expired, first out; of a lot those first that were out before."""
        number = 0 if self.again is None else self.again.number
        return (self.lot.lot.expiry or date.max, self.lot.lot.code, self.place, -self.spent, number)


def _there(rec: Recording, kit: Product, n: int, site: str, lot: str | None, booking: Booking | None) -> list[_There]:
    """What the fridges of the site have; of a lot that was named, all that is anywhere, held and expired included."""
    today = rec.rules.opening(site).day(rec.act.at)
    only = None if lot is None else lot_named(rec.conn, kit.code, lot).key
    known = {p.place: p for p in pulls_there(rec.conn, rec.act.at).values()}
    found: list[_There] = []
    for now in lots_there_of(rec.conn, kit.code, rec.act.at):
        if only not in (None, now.lot.key) or (only is None and (now.lot.expiry is None or now.expired(today))):
            continue
        for p in now.state.inside():
            if p.place.startswith("P-") or (rec.rules.practice.site_of(p.place) or site) != site:
                continue
            if only is not None or (rec.rules.practice.fridge(p.place) is not None and not p.held):
                again = None if p.kit is None else known.get(p.kit)
                spent = 0 if again is None else spent_out(rec.conn, again)
                serves = _serves(rec, kit, now, site, spent, booking)
                found.append(_There(now, p.place, min(p.quantity, n), p.held, again, spent, serves))
    return found if only is not None else _still_there(rec, kit.code, found, n)


def _still_there(rec: Recording, code: str, found: list[_There], n: int) -> list[_There]:
    """The pieces that no later record shows to have gone, where they are enough: a kit written in late was none of them."""
    last = {x.lot.key: x.state for x in lots_there_of(rec.conn, code)}
    left = {
        (p.lot.lot.key, p.place): last[p.lot.lot.key].quantity(p.place) if p.lot.lot.key in last else 0 for p in found
    }
    capped = [replace(p, quantity=min(p.quantity, left[p.lot.lot.key, p.place])) for p in found]
    return capped if sum(p.quantity for p in capped) >= n else found


def _serves(rec: Recording, kit: Product, now: LotNow, site: str, spent: int, booking: Booking | None) -> bool:
    """True where its hours and its expiry last until the booking ends; without one, for any procedure that uses it."""
    if booking is None:
        longest = max(
            (
                p.seconds(p.max_cycles or p.cycles)
                for p in rec.rules.practice.procedures
                if any(u.product == kit.code for u in p.uses)
            ),
            default=0,
        )
        end = rec.act.at + kit.warmup_seconds + longest
    else:
        end = booking.end
    good_until = expiry_end(rec.rules, now, site)
    lasts = kit.max_out_seconds is None or spent + end - rec.act.at <= kit.max_out_seconds
    return lasts and (good_until is None or end <= good_until)


def _planned(rec: Recording, kit: Product, booking: Booking) -> list[tuple[str, str, int]]:
    """(lot, place, hours out before) of the kits that the plan takes from the fridge for a booking."""
    made = warm_plan(rec.conn, rec.act.at, site=booking.site or None, rule=rec.rules, cures=False)
    mine = (r for r in made.rows if (r.booking, r.product) == (booking.number, kit.code))
    return [(r.lot, r.place, r.spent) for r in mine if r.lot is not None and r.place is not None and r.pull is None]


def spent_out(conn: Link, pull: Pull) -> int:
    """Seconds that a kit which was put back has been out, over all its outings."""
    return out_for(pull, ledger.backs(conn).get(pull.place, pull.at))
