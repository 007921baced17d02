"""Which kit for which booking, and when to take it out: the plan from what is on record."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from stockroom.core.allotment import fits
from stockroom.core.records import Booking, Pull
from stockroom.core.usage import used_by
from stockroom.core.warmup import ATTENTION, FridgeStock, Kit, Need, Row, Unused, plan, wasted
from stockroom.store import Link, ledger
from stockroom.tasks.diary import diary
from stockroom.tasks.rules import Rules, rules
from stockroom.tasks.shelves import LotNow, lots_now

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
    lots = lots_now(conn, at)
    out: list[Kit] = []
    unusable: list[tuple[Pull, str]] = []
    for pull in ledger.pulls(conn, at).values():
        now = lots.get(pull.lot)
        product = rule.practice.product(pull.product)
        site = rule.practice.site_of(pull.source)
        site = pull.site if site is None else site
        if (
            now is None
            or product is None
            or not product.warms
            or site not in sites
            or not now.state.quantity(pull.place)
        ):
            continue
        why = _unusable(rule, now, site, at, pull.place)
        if why:
            unusable.append((pull, why))
            continue
        out.append(kit_out(rule, pull, now, site))
    return Kits(tuple(out), tuple(_fridge(conn, rule, lots.values(), at, sites)), tuple(unusable))


def _fridge(conn: Link, rule: Rules, lots: Iterable[LotNow], at: int, sites: Sequence[str]) -> list[FridgeStock]:
    """Usable kits in the fridges, those put back after an outing apart from the fresh ones: they keep their hours."""
    found = []
    fridges = {f.name: f.site for f in rule.practice.fridges if f.site in sites}
    outings = ledger.pulls(conn, at)
    backs = ledger.backs(conn)
    spent = {p.place: p.out_before + backs.get(p.place, p.at) - p.at for p in outings.values()}
    for now in lots:
        product = rule.practice.product(now.lot.product)
        if product is None or not product.warms or now.lot.expiry is None:
            continue
        for name, site in fridges.items():
            if now.expired(rule.opening(site).day(at)):
                continue
            pieces: dict[int, int] = {}
            for parcel in now.state.at(name):
                if not parcel.held:
                    hours = spent.get(parcel.kit or "", 0)
                    pieces[hours] = pieces.get(hours, 0) + parcel.quantity
            end = expiry_end(rule, now, site)
            found += [
                FridgeStock(product.code, now.lot.key, now.lot.code, site, name, end, n, hours)
                for hours, n in sorted(pieces.items())
            ]
    return found


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


def _unusable(rule: Rules, now: LotNow, site: str, at: int, place: str) -> str:
    if any(p.held for p in now.state.at(place)):
        return "in quarantine"
    if now.expired(rule.opening(site).day(at)):
        return "expired"
    return ""


def needs_of(rule: Rules, booking: Booking, promised: Sequence[int]) -> list[Need]:
    """A need for each warm kit that a booking's procedure uses."""
    procedure = rule.practice.procedure(booking.procedure)
    if procedure is None:
        return []
    products = {p.code: p for p in rule.practice.products}
    pieces = used_by(procedure, booking.cycles, products).gross
    return [
        Need(booking.number, booking.start, booking.end, booking.procedure, code, booking.site, tuple(promised))
        for code, n in pieces.items()
        if products[code].warms
        for _ in range(n)
    ]


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
) -> WarmPlan:
    """The warm-up plan of all coming bookings; ``days`` shows only those that start within so many days.

    With ``cures`` a row that is short says which order, delivery or decision would cure it.
    """
    rule = rule or rules(conn, at)
    sites = rule.sites(site)
    booked = {n: b for n, b in diary(conn, rule, at, sites).items() if b.state == "booked"}
    coming = {n: b for n, b in booked.items() if b.start > at}
    promised: dict[int, list[int]] = {}
    for pull in ledger.pulls(conn, at).values():
        if pull.booking is not None:
            promised.setdefault(pull.booking, []).append(pull.number)
    kits = _not_begun(kits_now(conn, rule, at, sites), rule, booked, at)
    needs = tuple(need for b in coming.values() for need in needs_of(rule, b, promised.get(b.number, ())))
    rows = plan(needs, kits.out, kits.fridge, rule.practice, rule.openings, at)
    if cures and any(r.state == "short" for r in rows):
        from stockroom.tasks.cures import with_cures

        rows = with_cures(conn, rule, rows, at)
    unused = tuple(wasted(rows, kits.out, rule.practice, at))
    if days is not None:
        horizon = rule.opening(sites[0])
        last = horizon.midnight(horizon.day(at) + timedelta(days=days + 1))
        rows = [r for r in rows if r.start < last]
    return WarmPlan(at, tuple(sorted(rows, key=lambda r: (r.start, r.booking, r.product))), kits, needs, coming, unused)


def _not_begun(kits: Kits, rule: Rules, booked: Mapping[int, Booking], at: int) -> Kits:
    """The same kits; one promised to a booking that has begun is at that booking, unless it cannot serve it: nobody uses
    a cold kit by plan, so that one stays free for others as it was before.
    """
    products = {p.code: p for p in rule.practice.products}

    def freed(kit: Kit) -> Kit:
        holder = booked.get(kit.promised_to or 0)
        begun = holder is not None and holder.start <= at
        if begun and holder is not None and not fits(kit, products[kit.product], holder.start, holder.end):
            return replace(kit, promised_to=None)
        return kit

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
