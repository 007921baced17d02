"""The evening's catch-up: what is over and not recorded, and for each what the shortest line would record."""

from collections.abc import Sequence
from dataclasses import dataclass

from stockroom.core.practice import Product
from stockroom.core.records import Booking, Pull
from stockroom.core.stock import taken_first
from stockroom.core.usage import used_by
from stockroom.core.warmup import ready_at, use_by
from stockroom.store import Link
from stockroom.tasks.diary import diary
from stockroom.tasks.move_stock import takeable
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import LotNow, lots_there_of
from stockroom.tasks.warm_plan import kit_out
from stockroom.tasks.which_kit import kits_for


@dataclass(frozen=True, slots=True)
class Proposal:
    """What ``booking done`` with nothing but the number would record; ``breaches`` says why somebody should look first.

    ``kits`` are (P-number, product, lot), ``supplies`` (product, lot, pieces).
    """

    booking: Booking
    kits: tuple[tuple[int, str, str], ...]
    supplies: tuple[tuple[str, str, int], ...]
    breaches: tuple[str, ...]

    @property
    def command(self) -> str:
        """The line that records it as proposed."""
        return f"booking done B-{self.booking.number}"

    @property
    def otherwise(self) -> str:
        """The line where nobody came."""
        return f"booking missed B-{self.booking.number}" + (" --kit sealed" if self.kits else "")


def unrecorded(conn: Link, rule: Rules, at: int, site: str | None) -> list[Booking]:
    """Bookings that should be over and of which nobody has said what became of them, by start."""
    found = diary(conn, rule, at, rule.sites(site), standing=True).values()
    return sorted((b for b in found if b.end <= at), key=lambda b: (b.start, b.number))


def catch_up(conn: Link, rule: Rules, at: int, site: str | None) -> tuple[Proposal, ...]:
    """A proposal for each booking that is not recorded, as if they were recorded one after the other."""
    gone: dict[tuple[int, str], int] = {}
    found = []
    for booking in unrecorded(conn, rule, at, site):
        procedure = rule.practice.procedure(booking.procedure)
        products = {p.code: p for p in rule.practice.products}
        if procedure is None:
            said = (f"the practice file has no {booking.procedure} any more",)
            found.append(Proposal(booking, (), (), said))
            continue
        kits: list[tuple[int, str, str]] = []
        supplies: list[tuple[str, str, int]] = []
        breaches: list[str] = []
        for code, n in used_by(procedure, booking.cycles, products).loose.items():
            left = n
            if products[code].warms:
                out, _ = kits_for(conn, rule, products[code], booking, booking.start)
                free = [(p, x) for p, x in out if (x.lot.key, p.place) not in gone][:n]
                for pull, now in free:
                    gone[now.lot.key, pull.place] = 1
                    kits.append((pull.number, code, now.lot.code))
                    breaches += _breaches(rule, products[code], pull, now, booking)
                left = n - len(free)
                if left:
                    breaches.append(f"no {code} is out for it")
            supplies += _loose(conn, rule, code, left, booking, gone, breaches)
        found.append(Proposal(booking, tuple(kits), tuple(supplies), tuple(breaches)))
    return tuple(found)


def _breaches(rule: Rules, product: Product, pull: Pull, now: LotNow, booking: Booking) -> Sequence[str]:
    kit, opening = kit_out(rule, pull, now, booking.site), rule.opening(booking.site)
    ready, until = ready_at(kit, product), use_by(kit, product)
    if any(p.held for p in now.state.at(pull.place)):
        return [f"{pull.place} is in quarantine"]
    if now.expired(opening.day(booking.start)):
        return [f"{pull.place} had expired"]
    if ready > booking.start:
        return [f"{pull.place} was warm only at {opening.clock(ready)}"]
    if until is not None and until < booking.start:
        return [f"{pull.place} was to be used by {opening.clock(until)}"]
    return []


def _loose(
    conn: Link, rule: Rules, code: str, n: int, booking: Booking, gone: dict[tuple[int, str], int], breaches: list[str]
) -> list[tuple[str, str, int]]:
    """Pieces from fridge and shelf, first expired first; ``gone`` is what earlier bookings of the list take."""
    if not n:
        return []
    today = rule.opening(booking.site).day(booking.start)
    rows = takeable(rule, lots_there_of(conn, code, booking.start), booking.site, None, today)
    have = [max(0, r[2] - gone.get((r[0].lot.key, r[1]), 0)) for r in rows]
    found: list[tuple[str, str, int]] = []
    for index, pieces in taken_first([(r[3], r[4], h) for r, h in zip(rows, have, strict=True)], n):
        now, place, _, _, _, held = rows[index]
        gone[now.lot.key, place] = gone.get((now.lot.key, place), 0) + pieces
        found.append((code, now.lot.code, pieces))
        n -= pieces
        if held or now.expired(today):
            breaches.append(
                f"{code} lot {now.lot.code} is in quarantine" if held else f"{code} lot {now.lot.code} had expired"
            )
    if n:
        breaches.append(f"the record has {n} too few {code}")
    return found
