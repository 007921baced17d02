"""Kits leave the fridge to warm: all that a booking needs, a P-number each."""

from stockroom.core.records import Booking
from stockroom.core.warmup import Kit, ready_at, use_by
from stockroom.core.when import local_text, utc_text
from stockroom.errors import Refused
from stockroom.store import ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, recording
from stockroom.tasks.book import still_out
from stockroom.tasks.diary import booking_named
from stockroom.tasks.kits_to_take import Taken, chosen, spent_out
from stockroom.tasks.places import key_of, product_named
from stockroom.tasks.warm_plan import expiry_end, needs_of


def take_out(
    store: Store,
    act: Act,
    *,
    booking: str | None = None,
    product: str | None = None,
    lot: str | None = None,
    extra: bool = False,
) -> Recorded:
    """Records that kits left the fridge, for a booking (all it needs) or free.

    Raises: Refused where the booking has its kits already (without ``extra``), or the record has none to take.
    """
    with recording(store, act, "pull") as rec:
        if booking is not None:
            found = booking_named(rec.conn, rec.rules, booking)
            wanted = _for_booking(rec, found, extra)
            site = found.site
        elif product is not None and lot is not None:
            kit = product_named(rec.rules.practice, product)
            if not kit.warms:
                raise Refused("no-warm-up", f"{kit.code} needs no warm-up", "to move it: stockroom stock move")
            found, wanted, site = None, {kit.code: 1}, rec.rules.site(act.site)
        else:
            raise Refused("what-to-pull", "say for which booking", "stockroom warmup pull B-7, or --product P --lot L")
        pulls = []
        for code, n in wanted.items():
            kit = product_named(rec.rules.practice, code)
            for taken in chosen(rec, kit, n, site, lot, found):
                pulls.append(_out(rec, taken, found, site))
        rec.book.what = "took out " + ", ".join(f"{p['pull']} ({p['product']} lot {p['lot']})" for p in pulls)
        if found:
            rec.book.what += f" for B-{found.number}"
        rec.fields |= {"booking": None if found is None else f"B-{found.number}", "pulls": pulls}
        cautions(rec, set(wanted))
    return rec.done()


def _for_booking(rec: Recording, booking: Booking, extra: bool) -> dict[str, int]:
    if booking.state != "booked":
        raise Refused("not-booked", f"B-{booking.number} is {booking.state}", "take a kit out with --product P --lot L")
    wanted: dict[str, int] = {}
    for need in needs_of(rec.rules, booking, ()):
        wanted[need.product] = wanted.get(need.product, 0) + 1
    if not wanted:
        raise Refused(
            "no-kit-needed", f"{booking.procedure} needs no kit from the fridge", "there is nothing to take out"
        )
    have: dict[str, list[str]] = {}
    for pull in still_out(rec, booking.number):
        have.setdefault(pull.product, []).append(pull.place)
    if extra:
        return wanted
    left = {code: n - len(have.get(code, [])) for code, n in wanted.items()}
    left = {code: n for code, n in left.items() if n > 0}
    if not left:
        out = ", ".join(p for places in have.values() for p in places)
        raise Refused(
            "out-already", f"B-{booking.number} has its kit out already: {out}", "for a second one add --extra"
        )
    return left


def _out(rec: Recording, taken: Taken, booking: Booking | None, site: str) -> dict[str, object]:
    lot, at = taken.lot.lot, rec.act.at
    source = key_of(rec, taken.place)
    before = taken.again
    number, place = ledger.pulled(rec.book, lot.key, source, None if before is None else before.number)
    prefer = "free" if taken.lot.state.quantity(taken.place, held=False) else "held"
    spent = 0 if before is None else spent_out(rec.conn, before)
    ledger.moved(
        rec.book,
        lot.key,
        1,
        source,
        place,
        "pull",
        prefer=prefer if before is None else before.place,
        booking=booking.number if booking else None,
    )
    if booking is not None:
        ledger.promised(rec.book, number, booking.number)
    rec.touches(taken.place, at)
    kit = Kit(
        lot.product,
        lot.key,
        lot.code,
        site,
        expiry_end(rec.rules, taken.lot, site),
        taken.place,
        number,
        at,
        spent,
        None,
    )
    ready, until = ready_at(kit, taken.product), use_by(kit, taken.product)
    _breaches(rec, taken, booking, site, ready, until, prefer)
    return {
        "pull": f"P-{number}",
        "product": lot.product,
        "lot": lot.code,
        "from": taken.place,
        "out_before": None if before is None else before.place,
        "pulled_at": utc_text(at),
        "ready_at": None if ready is None else utc_text(ready),
        "use_by": None if until is None else utc_text(until),
    }


def _breaches(
    rec: Recording, taken: Taken, booking: Booking | None, site: str, ready: int | None, until: int | None, prefer: str
) -> None:
    code, zone, now = taken.lot.lot.code, rec.rules.zone, rec.act.now
    if prefer == "held":
        rec.broke("pulled-held", f"lot {code} is in quarantine", "put it back, or ask whoever decides")
    if taken.lot.expired(rec.rules.opening(site).day(rec.act.at)):
        rec.broke("pulled-expired", f"lot {code} has expired", "do not use it")
    if taken.lot.lot.expiry is None:
        rec.broke("no-expiry", f"nobody knows when lot {code} expires", "look at the box")
    if taken.product.max_out_seconds is None:
        rec.note("ask-the-maker", f"how long {taken.product.code} may stay out is not on record: ask the maker")
    if booking is None:
        return
    if ready is not None and ready > booking.start:
        rec.broke(
            "too-late", f"it is warm at {local_text(ready, zone, now)}, B-{booking.number} begins at {local_text(booking.start, zone, now)}",
            f"stockroom booking move B-{booking.number} --start WHEN",
        )  # fmt: skip
    if until is not None and until < booking.end:
        rec.broke(
            "too-early", f"it may be used until {local_text(until, zone, now)}, B-{booking.number} ends at {local_text(booking.end, zone, now)}",
            "it is for an earlier booking, or goes back where its label allows",
        )  # fmt: skip


def too_early(store: Store, act: Act, booking: str) -> str | None:
    """What to say before kits are taken out too early for a booking; None where it is not too early."""
    from stockroom.tasks.rules import rules

    with store.reading() as conn:
        rule = rules(conn, act.at)
        found = booking_named(conn, rule, booking)
        for need in needs_of(rule, found, ()):
            product = rule.practice.product(need.product)
            if product is not None and product.max_out_seconds is not None:
                first = found.end - product.max_out_seconds
                if act.at < first:
                    when = local_text(first, rule.zone, act.now)
                    return f"Too early: {product.code} for B-{found.number} should not leave the fridge before {when}."
    return None
