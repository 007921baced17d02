"""Kits that are out: put back where their product allows, or promised to another booking."""

from stockroom.core.warmup import Kit, ready_at, use_by
from stockroom.core.when import local_text
from stockroom.errors import Refused
from stockroom.store import ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, cautions, recording
from stockroom.tasks.broken_plan import sites_of, telling_broken
from stockroom.tasks.diary import booking_named
from stockroom.tasks.places import fridge_named, key_of, product_named, pull_number
from stockroom.tasks.shelves import lots_now
from stockroom.tasks.warm_plan import expiry_end, needs_of


def put_back(store: Store, act: Act, pull: str, into: str | None = None) -> Recorded:
    """Records that an unopened kit went back into the fridge; it keeps its hours out and must warm anew.

    Where its product does not allow that, or it is expired or held, it is recorded all the same and held.
    Raises: Refused where it is not out.
    """
    with recording(store, act, "back") as rec:
        number = pull_number(rec.conn, pull)
        found = ledger.pull_of(rec.conn, number, act.at)
        now = None if found is None else lots_now(rec.conn, act.at, [found.lot]).get(found.lot)
        if found is None or now is None or not now.state.quantity(found.place):
            raise Refused("not-out", f'there is no kit "{pull}" out of the fridge', "see: stockroom stock list")
        place = found.source if into is None else fridge_named(rec.rules.practice, into)
        product = product_named(rec.rules.practice, found.product)
        hours = (act.at - found.at + found.out_before) / 3600
        over = product.max_out_seconds is not None and hours * 3600 > product.max_out_seconds
        with telling_broken(rec, {product.code}, sites_of(rec, {found.place, place})) as broken:
            ledger.moved(rec.book, found.lot, 1, key_of(rec, found.place), key_of(rec, place), "back")
            ledger.promised(rec.book, found.number, None)
            if not product.returnable or over:
                why = "it was out too long" if over else f"{product.code} does not go back by its label"
                ledger.held(rec.book, found.lot, key_of(rec, found.place), 1, act.at, rec.book.label, why)
                rec.broke(
                    "not-returnable",
                    f"P-{found.number}: {why}; it is in quarantine",
                    "ask the maker, then release or discard it",
                )
        rec.touches(place, act.at)
        rec.book.what = (
            f"P-{found.number} ({found.product} lot {now.lot.code}) back into {place} after {hours:.1f} h out"
        )
        rec.fields |= {"pull": f"P-{found.number}", "place": place, "hours_out": round(hours, 2), "broken": broken}
        cautions(rec, {product.code})
    return rec.done()


def promise(store: Store, act: Act, pull: str, booking: str) -> Recorded:
    """Promises a kit that is out to a booking; the promise stands while the kit can serve it. Raises: Refused."""
    with recording(store, act, "promise") as rec:
        number = pull_number(rec.conn, pull)
        found = ledger.pull_of(rec.conn, number, act.at)
        now = None if found is None else lots_now(rec.conn, act.at, [found.lot]).get(found.lot)
        if found is None or now is None or not now.state.quantity(found.place):
            raise Refused("not-out", f'there is no kit "{pull}" out of the fridge', "see: stockroom stock list")
        target = booking_named(rec.conn, rec.rules, booking)
        if target.state != "booked":
            raise Refused("not-booked", f"B-{target.number} is {target.state}", "promise it to another")
        if found.product not in {n.product for n in needs_of(rec.rules, target, ())}:
            raise Refused("wrong-kit", f"B-{target.number} needs no {found.product}", "promise it to another")
        product = product_named(rec.rules.practice, found.product)
        kit = Kit(
            found.product, found.lot, now.lot.code, target.site, expiry_end(rec.rules, now, target.site), found.source,
            found.number, found.at, found.out_before, None,
        )  # fmt: skip
        ready, until = ready_at(kit, product), use_by(kit, product)
        zone = rec.rules.zone
        if ready is not None and ready > target.start:
            rec.broke(
                "too-late",
                f"P-{found.number} is warm at {local_text(ready, zone, act.now)}, after B-{target.number} begins",
            )
        if until is not None and until < target.end:
            rec.broke(
                "too-early",
                f"P-{found.number} may be used until {local_text(until, zone, act.now)}, before B-{target.number} ends",
            )
        with telling_broken(rec, {product.code}, sites_of(rec, {found.place})) as broken:
            ledger.promised(rec.book, found.number, target.number)
        rec.book.what = f"P-{found.number} is promised to B-{target.number}"
        rec.fields |= {"pull": f"P-{found.number}", "booking": f"B-{target.number}", "broken": broken}
    return rec.done()
