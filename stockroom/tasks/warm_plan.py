"""Which kit for which booking, and when to take it out: the plan from what is on record."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from stockroom.core.allotment import Allotment, allotments, fits
from stockroom.core.records import Booking, Pull
from stockroom.core.usage import used_by
from stockroom.core.warmup import ATTENTION, FridgeStock, Kit, Need, Row, Unused, plan, wasted
from stockroom.store import Link, ledger
from stockroom.tasks.diary import coming, under_way
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import LotNow, lots_there, pulls_there

HELP = ("late", "blocked", "short")
"""The states in which a booking cannot be served as things stand."""


@dataclass(frozen=True, slots=True)
class Kits:
    """The kits that could serve: those out of the fridge, and usable stock in it."""

    out: tuple[Kit, ...]
    fridge: tuple[FridgeStock, ...]
    unusable: tuple[tuple[Pull, str], ...]
    """Kits that are out and may not be used, with why."""


def kits_now(conn: Link, rule: Rules, at: int, sites: Sequence[str]) -> Kits:
    """Every usable warm-up kit of some sites at an instant; held, expired and undated ones are left out."""
    warm = {p.code for p in rule.practice.products if p.warms}
    lots = {key: now for key, now in lots_there(conn, at).items() if now.lot.product in warm}
    today = {site: rule.opening(site).day(at) for site in sites}
    places = rule.practice.places
    pulls = pulls_there(conn, at)
    out: list[Kit] = []
    unusable: list[tuple[Pull, str]] = []
    for pull in pulls.values():
        now, site = lots.get(pull.lot), places.get(pull.source, pull.site)
        if now is None or site not in today or not (pieces := now.state.at(pull.place)):
            continue
        why = "in quarantine" if any(p.held for p in pieces) else "expired" if now.expired(today[site]) else ""
        if why:
            unusable.append((pull, why))
        else:
            out.append(kit_out(rule, pull, now, site))
    spent = {
        place: out_for(pulls[n], back)
        for place, back in ledger.backs(conn, lots.keys()).items()
        if (n := int(place[2:])) in pulls
    }
    fridges = [(f.name, f.site) for f in rule.practice.fridges if f.site in today]
    stock: list[FridgeStock] = []
    for now in lots.values():
        for name, site in fridges:
            if now.lot.expiry is not None and not now.expired(today[site]):
                stock += _in_fridge(rule, now, name, site, spent)
    return Kits(tuple(out), tuple(stock), tuple(unusable))


def _in_fridge(rule: Rules, now: LotNow, fridge: str, site: str, spent: Mapping[str, int]) -> list[FridgeStock]:
    """Usable kits of a lot in a fridge, those put back after an outing apart from the fresh ones: they keep their
    hours. ``spent``: P-5 -> seconds out."""
    pieces: dict[int, int] = {}
    for parcel in now.state.at(fridge):
        if not parcel.held:
            hours = spent.get(parcel.kit or "", 0)
            pieces[hours] = pieces.get(hours, 0) + parcel.quantity
    end = expiry_end(rule, now, site)
    return [
        FridgeStock(now.lot.product, now.lot.key, now.lot.code, site, fridge, end, n, hours)
        for hours, n in sorted(pieces.items())
    ]


def out_for(pull: Pull, until: int) -> int:
    """Seconds that a kit has been out by an instant of this outing, over all its outings."""
    return pull.out_before + until - pull.at


def kit_out(rule: Rules, pull: Pull, now: LotNow, site: str) -> Kit:
    """A pull as the kit that it is, with its times."""
    return Kit(
        pull.product, pull.lot, now.lot.code, site, expiry_end(rule, now, site), pull.source, pull.number, pull.at,
        pull.out_before, pull.booking,
    )  # fmt: skip


def expiry_end(rule: Rules, now: LotNow, site: str) -> int | None:
    """The instant at which a lot's last usable day ends."""
    if now.lot.expiry is None:
        return None
    return rule.opening(site).midnight(now.lot.expiry + timedelta(days=1))


def needs_of(rule: Rules, booking: Booking, promised: Sequence[int]) -> list[Need]:
    """A need for each warm kit that a booking's procedure uses."""
    return needs(rule, [booking], {booking.number: promised})


def needs(rule: Rules, bookings: Iterable[Booking], promised: Mapping[int, Sequence[int]]) -> list[Need]:
    """``needs_of`` each; ``promised``: booking -> P-numbers of the kits promised to it."""
    products = {p.code: p for p in rule.practice.products}
    procedures = {p.code: p for p in rule.practice.procedures}
    kits: dict[tuple[str, int | None], list[str]] = {}
    found: list[Need] = []
    for b in bookings:
        alike = (b.procedure, b.cycles)
        if alike not in kits:
            procedure = procedures.get(b.procedure)
            pieces = {} if procedure is None else used_by(procedure, b.cycles, products).gross
            kits[alike] = [code for code, n in pieces.items() if products[code].warms for _ in range(n)]
        for code in kits[alike]:
            pulls = tuple(promised.get(b.number, ()))
            found.append(Need(b.number, b.start, b.end, b.procedure, code, b.site, pulls))
    return found


@dataclass(frozen=True, slots=True)
class WarmPlan:
    """The plan at an instant: a row for each kit that a coming booking needs, and the kits it was made from."""

    as_of: int
    rows: tuple[Row, ...]
    kits: Kits
    needs: tuple[Need, ...]
    bookings: dict[int, Booking]
    unused: tuple[Unused, ...]
    """Kits that are out and that no booking uses, first use-by first."""

    @property
    def attention(self) -> int:
        """How many rows are due, late, blocked or short."""
        return sum(r.state in ATTENTION for r in self.rows)


def warm_plan(
    conn: Link,
    at: int,
    *,
    site: str | None = None,
    days: int | None = None,
    rule: Rules | None = None,
    cures: bool = True,
    ways: bool = True,
) -> WarmPlan:
    """The warm-up plan of all coming bookings; ``days`` shows only those that start within so many days.

    With ``cures`` a row that is short says which order, delivery or decision would cure it, and a kit that no booking
    uses which bookings could move to it. Without ``ways`` those that are late or blocked say no way out (``plan``).
    """
    rule = rule or rules(conn, at)
    sites = rule.sites(site)
    bookings = coming(conn, rule, at, sites)
    promised: dict[int, list[int]] = {}
    for pull in pulls_there(conn, at).values():
        if pull.booking is not None:
            promised.setdefault(pull.booking, []).append(pull.number)
    kits = _not_begun(conn, kits_now(conn, rule, at, sites), rule, bookings, at)
    wanted = tuple(needs(rule, bookings.values(), promised))
    rows = plan(wanted, kits.out, kits.fridge, rule.practice, rule.openings, at, ways=ways)
    unused = wasted(rows, kits.out, rule.practice, at)
    if cures and unused:
        unused = _with_moves(rule, unused, rows, wanted, kits, at)
    if cures and any(r.state == "short" for r in rows):
        from stockroom.tasks.cures import with_cures

        rows = with_cures(conn, rule, rows, at)
    if days is not None:
        horizon = rule.opening(sites[0])
        last = horizon.midnight(horizon.day(at) + timedelta(days=days + 1))
        rows = [r for r in rows if r.start < last]
    return WarmPlan(at, tuple(rows), kits, wanted, bookings, tuple(unused))


def _with_moves(
    rule: Rules, unused: Sequence[Unused], rows: Sequence[Row], wanted: Sequence[Need], kits: Kits, at: int
) -> list[Unused]:
    """The same kits with the bookings that could move to them."""
    from stockroom.core.rescue import Kind, Rescue, rescued

    def again(needs: Sequence[Need], only: Collection[Kind]) -> list[Allotment]:
        return allotments(needs, kits.out, kits.fridge, rule.practice, rule.openings, at, only=only)

    return rescued(unused, Rescue(rows, wanted, kits.out, again, at), rule.practice.products, rule.openings)


def _not_begun(conn: Link, kits: Kits, rule: Rules, coming: Mapping[int, Booking], at: int) -> Kits:
    """The same kits; one promised to a booking that has begun is at that booking, unless it cannot serve it: nobody uses
    a cold kit by plan, so that one stays free for others as it was before.
    """
    products = {p.code: p for p in rule.practice.products}

    def freed(kit: Kit) -> Kit:
        if kit.promised_to is None or kit.promised_to in coming:
            return kit
        holder = under_way(conn, rule, at, kit.promised_to)
        in_vain = holder is not None and not fits(kit, products[kit.product], holder.start, holder.end)
        return replace(kit, promised_to=None) if in_vain else kit

    return replace(kits, out=tuple(map(freed, kits.out)))


def needing_help(conn: Link, rule: Rules, at: int, sites: Sequence[str]) -> dict[int, str]:
    """Bookings that are late, blocked or short, or lie outside staffed time -> why."""
    found: dict[int, str] = {}
    for site in sites:
        made = warm_plan(conn, at, site=site if site else None, rule=rule, cures=False)
        for number, booking in made.bookings.items():
            if not in_hours(rule, booking):
                found[number] = "lies outside the hours in which somebody is there"
        for row in made.rows:
            if row.state in HELP:
                found.setdefault(row.booking, f"{row.state}: {row.why}")
    return found


def in_hours(rule: Rules, booking: Booking) -> bool:
    """True where a booking fits into one staffed span."""
    seconds = booking.end - booking.start
    return seconds > 0 and rule.opening(booking.site).start_for(seconds, booking.start) == booking.start
