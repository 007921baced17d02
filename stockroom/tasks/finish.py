"""What became of a booking: done, with what it used by lot, or missed."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from stockroom.core.practice import Product
from stockroom.core.records import Booking, Pull
from stockroom.core.usage import used_by
from stockroom.core.warmup import Kit, ready_at, use_by
from stockroom.core.when import local_text, utc_text
from stockroom.errors import Refused
from stockroom.store import bookings, ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, recording
from stockroom.tasks.book import free_promises, still_out
from stockroom.tasks.diary import booking_named, diary
from stockroom.tasks.move_stock import use_pieces
from stockroom.tasks.places import key_of, number_of, procedure_named, product_named
from stockroom.tasks.rules import rules
from stockroom.tasks.shelves import LotNow, lots_now, lots_of
from stockroom.tasks.warm_plan import expiry_end


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a person says: actual cycles, stopped early, pieces on top of the rule, lots and kits by name."""

    cycles: int | None = None
    stopped: bool = False
    used: Mapping[str, int] = field(default_factory=dict)
    lots: Mapping[str, str] = field(default_factory=dict)
    pulls: tuple[str, ...] = ()


def done(store: Store, act: Act, text: str, outcome: Outcome) -> Recorded:
    """Records that a booking took place, at its own time unless told otherwise, and what it used by lot.

    A kit used before it was ready, after its use-by, expired or held is recorded with the breach named.
    Raises: Refused for a booking that is over already or has not begun.
    """
    act = _at_its_time(store, act, text)
    with recording(store, act, "done") as rec:
        booking = _to_finish(rec, text)
        procedure = procedure_named(rec.rules.practice, booking.procedure)
        products = {p.code: p for p in rec.rules.practice.products}
        cycles = booking.cycles if outcome.cycles is None else outcome.cycles
        if outcome.cycles is not None and procedure.max_cycles and outcome.cycles > procedure.max_cycles:
            rec.broke(
                "too-many-cycles", f"{cycles} cycles are more than the {procedure.max_cycles} of {procedure.code}"
            )
        pieces = dict(used_by(procedure, cycles, products).loose)
        for code, n in outcome.used.items():
            product = product_named(rec.rules.practice, code)
            pieces[product.code] = pieces.get(product.code, 0) + n
        lots = {product_named(rec.rules.practice, c).code: lot for c, lot in outcome.lots.items()}
        _named_fit(rec, pieces, lots, outcome.pulls)
        used: list[dict[str, object]] = []
        for code, n in pieces.items():
            used += _use(rec, products[code], n, booking, lots.get(code), outcome.pulls)
        _change(rec, booking, "done", cycles, "stopped" if outcome.stopped else None)
        free_promises(rec, booking.number)
        rec.book.what = f"B-{booking.number} done: " + ", ".join(
            f"{u['quantity']} x {u['product']} lot {u['lot']}" for u in used
        )
        rec.fields |= {
            "booking": f"B-{booking.number}", "state": "done", "at": utc_text(act.at), "cycles": cycles,
            "stopped": outcome.stopped, "used": used,
        }  # fmt: skip
        cautions(rec, set(pieces))
    return rec.done()


def _named_fit(rec: Recording, pieces: dict[str, int], lots: Mapping[str, str], named: tuple[str, ...]) -> None:
    """Kits and lots that a person names are used, or refused: never left aside. Extra kits add to what is used."""
    for code in lots:
        if code not in pieces:
            raise Refused("not-used", f"{code} is not used by it", f"to add it: --used {code}=N")
    known = ledger.pulls(rec.conn)
    count: dict[str, int] = {}
    for text in named:
        pull = known.get(number_of(text, "P") or 0)
        if pull is None:
            raise Refused("unknown-pull", f'there is no kit "{text}"', "see: stockroom stock list")
        if pull.product not in pieces:
            raise Refused("wrong-kit", f"{pull.place} is a {pull.product}, which it does not use", "name another kit")
        count[pull.product] = count.get(pull.product, 0) + 1
    for code, n in count.items():
        pieces[code] = max(pieces[code], n)


def _at_its_time(store: Store, act: Act, text: str) -> Act:
    with store.reading() as conn:
        booking = booking_named(conn, rules(conn, act.now), text)
        zone = rules(conn, act.now).zone
    if act.at_given:
        return act
    if booking.start > act.now + 300:
        when = local_text(booking.start, zone, act.now)
        raise Refused(
            "not-begun", f"B-{booking.number} begins at {when}", "record it when it is over, or say when with --at"
        )
    return replace(act, at=booking.start)


def _to_finish(rec: Recording, text: str) -> Booking:
    booking = booking_named(rec.conn, rec.rules, text)
    if booking.state != "booked":
        raise Refused(
            "over-already",
            f"B-{booking.number} is {booking.state} already",
            f"to take that back: stockroom undo R-{booking.entry} --why …",
        )
    return booking


def _change(rec: Recording, booking: Booking, state: str, cycles_done: int | None, outcome: str | None) -> None:
    stored = bookings.bookings(rec.conn, only=booking.number)[booking.number]
    bookings.changed(
        rec.book, booking.number, state=state, procedure=booking.procedure, start=booking.start, patient=booking.patient,
        cycles=stored.cycles, cycles_done=cycles_done, outcome=outcome, at=max(rec.act.at, stored.changed_at),
    )  # fmt: skip


def _use(
    rec: Recording, product: Product, n: int, booking: Booking, lot: str | None, named: tuple[str, ...]
) -> list[dict[str, object]]:
    used: list[dict[str, object]] = []
    if product.warms:
        for pull, now in _kits(rec, product, booking, lot, named)[:n]:
            used.append(use_kit(rec, product, pull, now, booking))
    left = n - len(used)
    if left > 0:
        rows = use_pieces(rec, product, left, booking.site, lot=lot, booking=booking.number)
        used += [{"product": product.code, "pull": None, **row} for row in rows]
    return used


def _kits(
    rec: Recording, product: Product, booking: Booking, lot: str | None, named: tuple[str, ...]
) -> list[tuple[Pull, LotNow]]:
    """Kits that are out, in the order in which they would be used: named, promised to it, then free and earliest use-by."""
    lots = {x.lot.key: x for x in lots_of(rec.conn, product.code, rec.act.at)}
    out = []
    wanted = [number_of(p, "P") for p in named]
    known = ledger.pulls(rec.conn)
    for pull in known.values():
        now = lots.get(pull.lot)
        if pull.product != product.code or now is None or not now.state.quantity(pull.place):
            if pull.number in wanted and pull.product == product.code:
                raise Refused(
                    "not-out", f"P-{pull.number} is not out of the fridge any more", "see: stockroom stock list"
                )
            continue
        if (lot is not None and now.lot.code != lot) or (
            pull.booking not in (None, booking.number) and pull.number not in wanted
        ):
            continue
        kit = _kit(rec, pull, now, booking.site)
        until = use_by(kit, product)
        ready = ready_at(kit, product)
        poor = any(p.held for p in now.state.at(pull.place)) or (ready is not None and ready > booking.start)
        rank = (pull.number not in wanted, pull.booking != booking.number, poor, until or 1 << 60, pull.number)
        out.append((rank, pull, now))
    return [(pull, now) for _, pull, now in sorted(out, key=lambda x: x[0])]


def _kit(rec: Recording, pull: Pull, now: LotNow, site: str) -> Kit:
    return Kit(
        pull.product, pull.lot, now.lot.code, site, expiry_end(rec.rules, now, site), pull.source, pull.number, pull.at,
        pull.out_before, pull.booking,
    )  # fmt: skip


def use_kit(
    rec: Recording, product: Product, pull: Pull, now: LotNow, booking: Booking, why: str | None = None
) -> dict[str, object]:
    """Appends that a kit that was out is used up, with every rule that this broke."""
    kit, at, zone = _kit(rec, pull, now, booking.site), rec.act.at, rec.rules.zone
    ready, until = ready_at(kit, product), use_by(kit, product)
    name = f"{product.code} lot {now.lot.code} (P-{pull.number})"
    if why is None:
        if ready is not None and at < ready:
            rec.broke(
                "used-early",
                f"{name} used at {local_text(at, zone, rec.act.now)}, warm only at {local_text(ready, zone, rec.act.now)}",
            )
        if until is not None and at > until and not now.expired(rec.rules.opening(booking.site).day(at)):
            rec.broke("used-late", f"{name} used after its use-by, {local_text(until, zone, rec.act.now)}")
        if now.expired(rec.rules.opening(booking.site).day(at)):
            rec.broke("used-expired", f"{name} used after its expiry")
        if any(p.held for p in now.state.at(pull.place)):
            rec.broke("used-held", f"{name} used while in quarantine", "tell the responsible clinician")
    target = ledger.placed(rec.book, "used", "outside")
    ledger.moved(rec.book, pull.lot, 1, key_of(rec, pull.place), target, "use", booking=booking.number, why=why)
    return {"product": product.code, "pull": f"P-{pull.number}", "lot": now.lot.code, "place": "out", "quantity": 1}


def missed(store: Store, act: Act, text: str, kit: str | None) -> Recorded:
    """Records that nobody came, or that it was declined: a sealed kit stays out and free, an opened one is used up.

    Raises: Refused where a kit is out for it and nobody says what became of it.
    """
    act = _at_its_time(store, act, text)
    with recording(store, act, "missed") as rec:
        booking = _to_finish(rec, text)
        lots = lots_now(rec.conn, act.at)
        out = [(p, lots[p.lot]) for p in still_out(rec, booking.number)]
        if out and kit not in ("sealed", "opened"):
            names = ", ".join(p.place for p, _ in out)
            raise Refused(
                "sealed-or-opened", f"{names} is out for B-{booking.number}", "add --kit sealed or --kit opened"
            )
        used = []
        if kit == "opened":
            for pull, now in out:
                product = product_named(rec.rules.practice, pull.product)
                used.append(use_kit(rec, product, pull, now, booking, why="opened, then the booking was missed"))
        _change(rec, booking, "missed", None, kit)
        freed = free_promises(rec, booking.number) if kit != "opened" else []
        rec.book.what = f"B-{booking.number} missed" + (f", kit {kit}" if kit else "")
        rec.fields |= {
            "booking": f"B-{booking.number}", "state": "missed", "kit": kit, "used": used, "freed": [f"P-{n}" for n in freed],
        }  # fmt: skip
    return rec.done()


def unrecorded(store: Store, at: int, site: str | None) -> list[Booking]:
    """Bookings that should be over and of which nobody has said what became of them."""
    with store.reading() as conn:
        rule = rules(conn, at)
        found = diary(conn, rule, at, rule.sites(site)).values()
    return sorted((b for b in found if b.state == "booked" and b.end <= at), key=lambda b: b.start)


def pairs(texts: list[str], what: str) -> dict[str, str]:
    """``PRODUCT=VALUE`` options as a dict. Raises: Refused."""
    found: dict[str, str] = {}
    for text in texts:
        code, sign, value = text.partition("=")
        if not sign or not code.strip() or not value.strip():
            raise Refused("bad-option", f'"{text}" is not PRODUCT={what}', f"write it like CODE={what}")
        found[code.strip()] = value.strip()
    return found
