"""Moves pieces: from place to place, out of the practice again, or used outside a booking."""

from collections.abc import Iterable
from datetime import date

from stockroom.core.kit_mark import names_a_kit
from stockroom.core.practice import Product
from stockroom.core.stock import taken_first
from stockroom.core.units import count, quoted
from stockroom.core.when import day_text
from stockroom.errors import Refused
from stockroom.store import ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, recording
from stockroom.tasks.broken_plan import sites_of, telling_broken
from stockroom.tasks.fault import out_now
from stockroom.tasks.fridge_now import fridge_now, in_use
from stockroom.tasks.places import code_named, key_of, place_or_box, places_here, product_named, pull_number
from stockroom.tasks.receive import space_taken
from stockroom.tasks.refuge import move_all_command, refuge_for
from stockroom.tasks.rules import Rules
from stockroom.tasks.shelves import LotNow, lot_named, lots_now, lots_of, lots_there, lots_there_of


def move(store: Store, act: Act, product: str, lot: str, quantity: int, source: str, target: str) -> Recorded:
    """Moves some pieces of one lot. What is held stays held on its way. Raises: Refused."""
    with recording(store, act, "move") as rec:
        code = code_named(rec.conn, rec.rules.practice, product)
        found = rec.rules.practice.product(code)
        known = lot_named(rec.conn, code, lot)
        a, b = place_or_box(rec, source), place_or_box(rec, target)
        _different(a, b)
        there(rec, known.key, known.code, code, a, quantity)
        ledger.moved(rec.book, known.key, quantity, key_of(rec, a), key_of(rec, b), "move")
        _arrived(rec, {} if found is None else {code: found}, a, b)
        rec.book.what = f"moved {quantity} x {code} lot {known.code} from {a} to {b}"
        rec.fields |= {"product": code, "lot": known.code, "quantity": quantity, "from": a, "to": b}
    return rec.done()


def move_all(store: Store, act: Act, source: str, target: str) -> Recorded:
    """Moves everything from one place to another: the way to empty a failed fridge. Raises: Refused."""
    with recording(store, act, "move") as rec:
        a, b = place_or_box(rec, source), place_or_box(rec, target)
        _different(a, b)
        moved, products = [], {}
        for now in lots_there(rec.conn, act.at).values():
            pieces = now.state.quantity(a)
            if not pieces:
                continue
            ledger.moved(rec.book, now.lot.key, pieces, key_of(rec, a), key_of(rec, b), "move")
            moved.append({"product": now.lot.product, "lot": now.lot.code, "quantity": pieces})
            found = rec.rules.practice.product(now.lot.product)
            if found is not None:
                products[found.code] = found
        if not moved:
            raise Refused(
                "nothing-there", f"nothing is on record in {a}", f"count it: stockroom stock count {quoted(a)}"
            )
        _arrived(rec, products, a, b)
        pieces = sum(int(str(m["quantity"])) for m in moved)
        rec.book.what = f"moved all {count(pieces, 'piece')} from {a} to {b}"
        rec.fields |= {"from": a, "to": b, "moved": moved}
    return rec.done()


def _different(a: str, b: str) -> None:
    if a == b:
        raise Refused("same-place", f"{a} to {b} is no move", "name another place with --to")


def _arrived(rec: Recording, products: dict[str, Product], a: str, b: str) -> None:
    fridge = rec.rules.practice.fridge(b)
    cold = {code for code, p in products.items() if p.cold}
    if cold and fridge is None:
        are = "is" if len(cold) == 1 else "are"
        what = f"{', '.join(sorted(cold))} {are} kept cold: every minute in {b} counts as unmonitored; take it to a fridge soon"
        rec.note("kept-warm", what, _onward(rec, a, b), urgent=True)
    if fridge is not None and not in_use(rec.conn, b, rec.act.at):
        rec.note(
            "switched-off", f"{b} is switched off: nobody checks it", f"stockroom fridge on {quoted(b)}", urgent=True
        )
    if cold and fridge is not None and out_now(fridge_now(rec.conn, rec.rules, b, rec.act.at, None)):
        rec.note("out-of-range", f"{b} is out of range itself", "see: stockroom fridge check", urgent=True)
    if fridge is not None and fridge.capacity is not None and (full := space_taken(rec, b)) > fridge.capacity:
        what = f"{b} holds {full} of its {fridge.capacity} spaces"
        rec.note("over-full", what, f"move some on: stockroom stock move … --from {quoted(b)} --to PLACE", urgent=True)
    sites = [rec.rules.practice.site_of(place) for place in (a, b)]
    if cold and None not in sites and sites[0] != sites[1]:
        what = (
            f"{', '.join(sorted(cold))} went from {sites[0]} to {sites[1]}: how cold it was on the way is not on record"
        )
        rec.note(
            "between-sites", what, f"if it was out of range: stockroom stock quarantine … --place {quoted(b)} --why …"
        )
    rec.touches(a, rec.act.at)
    rec.touches(b, rec.act.at)


def _onward(rec: Recording, a: str, b: str) -> str:
    """The command that takes what now stands in ``b`` to a fridge which can take all of it."""
    practice = rec.rules.practice
    site = practice.site_of(a) or practice.site_of(b) or rec.act.site or practice.sites[0].name
    refuge = refuge_for(rec.conn, rec.rules, b, site, rec.act.at)
    return (
        move_all_command(b, refuge.place)
        if refuge.fridge
        else f"stockroom stock move --all --from {quoted(b)} --to FRIDGE"
    )


def there(rec: Recording, lot: int, code: str, product: str, place: str, quantity: int) -> LotNow:
    """The lot as it stood then. Raises: Refused where the place has fewer pieces on record than are to go."""
    now = lots_now(rec.conn, rec.act.at, [lot]).get(lot)
    have = now.state.quantity(place) if now else 0
    if now is None or have < quantity:
        raise Refused(
            "not-that-many",
            f"{place} has {have} of lot {code} of {product} on record, not {quantity}",
            f"if they are there, count first: stockroom stock count {quoted(place)}",
        )
    return now


def give_back(
    store: Store, act: Act, product: str, lot: str, quantity: int, why: str, place: str | None = None
) -> Recorded:
    """Sends pieces back to the supplier or a lender. Raises: Refused."""
    with recording(store, act, "return") as rec:
        code = code_named(rec.conn, rec.rules.practice, product)
        known = lot_named(rec.conn, code, lot)
        target = ledger.placed(rec.book, "returned", "outside")
        spots = from_places(rec, known.key, known.code, code, quantity, place)
        with telling_broken(rec, {code}, sites_of(rec, dict(spots))) as broken:
            for spot, pieces in spots:
                ledger.moved(rec.book, known.key, pieces, key_of(rec, spot), target, "return", prefer="held", why=why)
                rec.touches(spot, act.at)
        rec.book.what = f"returned {quantity} x {code} lot {known.code}: {why}"
        rec.fields |= {"product": code, "lot": known.code, "quantity": quantity, "broken": broken}
    return rec.done()


def from_places(
    rec: Recording, lot: int, code: str, product: str, quantity: int, place: str | None
) -> list[tuple[str, int]]:
    """(place, pieces) that make up ``quantity`` of a lot, held ones first. Raises: Refused where there are fewer."""
    if place is not None:
        spot = f"P-{pull_number(rec.conn, place)}" if names_a_kit(place) else place_or_box(rec, place)
        there(rec, lot, code, product, spot, quantity)
        return [(spot, quantity)]
    now = lots_now(rec.conn, rec.act.at, [lot]).get(lot)
    spots = places_here(rec, {p.place for p in now.state.inside()}) if now else []
    have = {s: now.state.quantity(s) for s in spots} if now else {}
    if now is None or sum(have.values()) < quantity:
        raise Refused(
            "not-that-many",
            f"{sum(have.values())} of lot {code} of {product} are on record, not {quantity}",
            "if they are there, count first: stockroom stock count PLACE",
        )
    out = []
    for spot in sorted(have, key=lambda s: (-now.state.quantity(s, held=True), s)):
        n = min(quantity, have[spot])
        if n:
            out.append((spot, n))
            quantity -= n
    return out


def use(store: Store, act: Act, product: str, quantity: int, why: str, lot: str | None = None) -> Recorded:
    """Records what was used outside a booking: training, dropped, a walk-in. Raises: Refused."""
    with recording(store, act, "use") as rec:
        found = product_named(rec.rules.practice, product)
        site = rec.rules.site(rec.act.site)
        with telling_broken(rec, {found.code}, [site]) as broken:
            used = use_pieces(rec, found, quantity, site, lot=lot, why=why)
        cautions(rec, {found.code})
        rec.book.what = f"used {quantity} x {found.code}: {why}"
        rec.fields |= {"product": found.code, "quantity": quantity, "used": used, "broken": broken}
    return rec.done()


def use_pieces(
    rec: Recording,
    product: Product,
    quantity: int,
    site: str,
    *,
    lot: str | None = None,
    booking: int | None = None,
    why: str | None = None,
) -> list[dict[str, object]]:
    """Appends the use of pieces, first expired first out over a site; returns ``{"lot", "place", "quantity"}`` rows.

    What a person says was used is always recorded: a piece that is held, expired or straight from the fridge with
    the rule it broke, and one that the record does not have as unaccounted.
    """
    at = rec.act.at
    today = rec.rules.opening(site).day(at)
    only = None if lot is None else lot_named(rec.conn, product.code, lot).key
    rows = takeable(rec.rules, lots_there_of(rec.conn, product.code, at), site, only, today)
    used: list[dict[str, object]] = []
    target = ledger.placed(rec.book, "used", "outside")
    left = quantity
    for index, pieces in taken_first([(r[3], r[4], r[2]) for r in rows], quantity):
        now, place, _, _, _, held = rows[index]
        ledger.moved(rec.book, now.lot.key, pieces, key_of(rec, place), target, "use", booking=booking, why=why)
        used.append({"lot": now.lot.code, "place": place, "quantity": pieces})
        left -= pieces
        _breaches(rec, product, now, pieces, held, today)
        if product.warms and booking is not None and why is None:
            rec.broke("used-cold", f"{product.code} lot {now.lot.code} used straight from {place}, without its warm-up")
        rec.touches(place, at)
    if left > 0:
        used.append(_unaccounted(rec, product, site, left, target, lot, booking, why))
    return used


Takeable = tuple[LotNow, str, int, date | None, str, bool]
"""(lot, place, pieces, expiry as it ranks, rank, whether they are held)."""


def takeable(rule: Rules, lots: Iterable[LotNow], site: str, only: int | None, today: date) -> list[Takeable]:
    """What could be taken of some lots at a site, for ``taken_first``: usable, then expired, then held, whatever
    their dates."""
    practice = rule.practice
    found = [
        (now, place, pieces, 2 if held else 1 if now.expired(today) else 0)
        for now in lots
        if only is None or now.lot.key == only
        for place in sorted({p.place for p in now.state.inside()})
        if not place.startswith("P-") and (practice.site_of(place) or site) == site
        for held in (False, True)
        if (pieces := now.state.quantity(place, held=held))
    ]
    good = [(n, p, q, n.lot.expiry, f"{n.lot.code} {p}", False) for n, p, q, bad in found if not bad]
    poor = sorted((x for x in found if x[3]), key=lambda x: (x[3], x[0].lot.code, x[1]))
    return good + [(n, p, q, date.max, f"~{i:04}", bad == 2) for i, (n, p, q, bad) in enumerate(poor)]


def _breaches(rec: Recording, product: Product, now: LotNow, pieces: int, held: bool, today: date) -> None:
    what = f"{count(pieces, 'piece')} of {product.code} lot {now.lot.code}"
    if held:
        rec.broke("used-held", f"{what} used while in quarantine", "tell the responsible clinician")
    if now.expired(today):
        expiry = day_text(now.lot.expiry) if now.lot.expiry else ""
        rec.broke("used-expired", f"{what} used after {expiry}")


def _unaccounted(
    rec: Recording, product: Product, site: str, pieces: int, target: int, lot: str | None, booking: int | None,
    why: str | None,
) -> dict[str, object]:  # fmt: skip
    """What the record does not have is owed by the lot that was there last, until a count or a delivery explains it."""
    lots = lots_of(rec.conn, product.code)
    if lot is not None:
        lots = [x for x in lots if x.lot.code == lot]
    last = max(lots, key=lambda x: max((m.at for m in x.records.movements), default=0), default=None)
    if last is None:
        key, code = ledger.lot_key(rec.book, product.code, lot or "unrecorded"), lot or "unrecorded"
        place = _usual_place(rec, product, site)
    else:
        key, code = last.lot.key, last.lot.code
        inside = [m.target for m in last.records.movements if rec.rules.practice.site_of(m.target) == site]
        place = inside[-1] if inside else _usual_place(rec, product, site)
    ledger.moved(rec.book, key, pieces, key_of(rec, place), target, "use", booking=booking, why=why)
    rec.touches(place, rec.act.at)
    rec.broke(
        "unaccounted",
        f"the record has {pieces} too few {product.code}: used all the same, from lot {code}",
        f"count it: stockroom stock count {quoted(place)}, or write in the delivery that is missing",
    )
    return {"lot": code, "place": place, "quantity": pieces}


def _usual_place(rec: Recording, product: Product, site: str) -> str:
    practice = rec.rules.practice
    fridges = [f.name for f in practice.fridges if f.site == site]
    shelves = [s.name for s in practice.shelves if s.site == site]
    places = (fridges + shelves) if product.cold else (shelves + fridges)
    if not places:
        raise Refused("no-place", "the practice file has no place to keep things", "add a [[fridge]] or [[shelf]]")
    return places[0]
