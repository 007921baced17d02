"""What became of a booking: done, with what it used by lot, or missed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from stockroom.core.kit_mark import names_a_kit
from stockroom.core.practice import Product
from stockroom.core.records import Booking, Pull
from stockroom.core.usage import used_by
from stockroom.core.warmup import ready_at, use_by
from stockroom.core.when import local_text, utc_text
from stockroom.errors import Refused
from stockroom.store import bookings, ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, cautions, recording
from stockroom.tasks.book import free_promises, still_out
from stockroom.tasks.diary import booking_named
from stockroom.tasks.move_stock import use_pieces
from stockroom.tasks.places import key_of, procedure_named, product_named, pull_number
from stockroom.tasks.rules import rules
from stockroom.tasks.shelves import LotNow, lots_now, lots_there
from stockroom.tasks.warm_plan import kit_out, needs_of
from stockroom.tasks.which_kit import kits_for


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a person says: actual cycles, stopped early, pieces on top of the rule, lots and kits by name."""

    cycles: int | None = None
    stopped: bool = False
    used: Mapping[str, int] = field(default_factory=dict)
    lots: Mapping[str, str] = field(default_factory=dict)
    pulls: tuple[str, ...] = ()
    wasted: tuple[str, ...] = ()
    """Kits that were opened for it and not used on it."""


def done(store: Store, act: Act, text: str, outcome: Outcome) -> Recorded:
    """Records that a booking took place, at its own time unless told otherwise, and what it used by lot.

    A kit used before it was ready, after its use-by, expired or held is recorded with the breach named.
    Raises: Refused for a booking that is over already or has not begun.
    """
    act = _at_its_time(store, act, text)
    with recording(store, act, "done") as rec:
        booking = booking_named(rec.conn, rec.rules, text)
        _booked_still(booking, "done")
        outcome = _its_kit(rec, booking, text, outcome)
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
        _named_fit(rec, pieces, lots, outcome)
        used = _wasted(rec, booking, outcome.wasted)
        for code, n in pieces.items():
            used += _use(rec, products[code], n, booking, lots.get(code), outcome.pulls)
        _change(rec, booking, "done", cycles, "stopped" if outcome.stopped else None)
        if outcome.stopped and outcome.cycles is None:
            todo = f"stockroom undo {rec.book.label} --why cycles, then again with --cycles N"
            rec.note("cycles-unsaid", f"stopped, and yet counted with all {cycles} cycles", todo, urgent=True)
        free_promises(rec, booking.number)
        rec.book.what = f"B-{booking.number} done: {_said(used) or 'nothing used'}"
        if booking.state == "cancelled":
            what = f"B-{booking.number} was cancelled on record; it took place all the same"
            rec.note("was-cancelled", what, "if it did not: stockroom undo --why slip", urgent=True)
        rec.fields |= {
            "booking": f"B-{booking.number}", "state": "done", "at": utc_text(act.at), "cycles": cycles,
            "stopped": outcome.stopped, "used": used,
        }  # fmt: skip
        cautions(rec, set(pieces))
    return rec.done()


def _said(used: Sequence[Mapping[str, object]]) -> str:
    """``P-5 (CK lot A1), 2 x SWAB lot S1``: kits by their number, the rest by pieces."""
    return ", ".join(
        f"{u['pull']} ({u['product']} lot {u['lot']}{', wasted' if u.get('wasted') else ''})"
        if u["pull"]
        else f"{u['quantity']} x {u['product']} lot {u['lot']}"
        for u in used
    )


def _its_kit(rec: Recording, booking: Booking, text: str, outcome: Outcome) -> Outcome:
    """Where the label of a kit was scanned in place of the booking's number, that very kit was used."""
    by_id = bookings.number_by_external(rec.conn, text.strip()) == booking.number
    if by_id or not names_a_kit(text):
        return outcome
    return replace(outcome, pulls=tuple(dict.fromkeys((text, *outcome.pulls))))


def _wasted(rec: Recording, booking: Booking, named: tuple[str, ...]) -> list[dict[str, object]]:
    """Appends that kits were opened for a booking and not used on it: they are used up all the same."""
    used: list[dict[str, object]] = []
    for text in dict.fromkeys(named):
        pull = ledger.pull_of(rec.conn, pull_number(rec.conn, text))
        now = None if pull is None else lots_now(rec.conn, rec.act.at, [pull.lot]).get(pull.lot)
        if pull is None or now is None or not now.state.quantity(pull.place):
            raise Refused("not-out", f'there is no kit "{text}" out of the fridge', "see: stockroom stock list")
        product = product_named(rec.rules.practice, pull.product)
        used.append(use_kit(rec, product, pull, now, booking, why="opened and wasted") | {"wasted": True})
    return used


def _named_fit(rec: Recording, pieces: dict[str, int], lots: Mapping[str, str], outcome: Outcome) -> None:
    """Kits and lots that a person names are used, or refused: never left aside. Extra kits add to what is used."""
    for code in lots:
        if code not in pieces:
            raise Refused("not-used", f"{code} is not used by it", f"to add it: --used {code}=N")
    known, codes = ledger.pulls(rec.conn), ledger.lots(rec.conn)
    wasted = {pull_number(rec.conn, text) for text in outcome.wasted}
    count: dict[str, int] = {}
    for number, text in {pull_number(rec.conn, text) or 0: text for text in outcome.pulls}.items():
        pull = known.get(number)
        if pull is None:
            raise Refused("unknown-pull", f'there is no kit "{text}"', "see: stockroom stock list")
        if pull.product not in pieces:
            raise Refused("wrong-kit", f"{pull.place} is a {pull.product}, which it does not use", "name another kit")
        if number in wasted:
            raise Refused("used-or-wasted", f"{pull.place} was used or wasted, not both", "name it once")
        code, wanted = codes[pull.lot].code, lots.get(pull.product)
        if wanted is not None and code != wanted:
            raise Refused("other-lot", f"{pull.place} is of lot {code}, not {wanted}", "name the kit or the lot")
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


def _booked_still(booking: Booking, state: str) -> None:
    """Raises: Refused where something became of it already. What was cancelled may have taken place all the same."""
    if booking.state == "booked" or (booking.state, state) == ("cancelled", "done"):
        return
    todo = f"to take that back: stockroom undo R-{booking.entry} --why …"
    if booking.state == "cancelled":
        todo = f"if it took place: stockroom booking done B-{booking.number}"
    raise Refused("over-already", f"B-{booking.number} is {booking.state} already", todo)


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
        wanted = [pull_number(rec.conn, text) or 0 for text in named]
        out, gone = kits_for(rec.conn, rec.rules, product, booking, rec.act.at, lot, wanted)
        if gone:
            raise Refused("not-out", f"P-{gone[0]} is not out of the fridge any more", "see: stockroom stock list")
        for pull, now in out[:n]:
            used.append(use_kit(rec, product, pull, now, booking))
    left = n - len(used)
    if left > 0:
        rows = use_pieces(rec, product, left, booking.site, lot=lot, booking=booking.number)
        used += [{"product": product.code, "pull": None, **row} for row in rows]
    return used


def use_kit(
    rec: Recording, product: Product, pull: Pull, now: LotNow, booking: Booking, why: str | None = None
) -> dict[str, object]:
    """Appends that a kit that was out is used up, with every rule that this broke."""
    kit, at, zone = kit_out(rec.rules, pull, now, booking.site), rec.act.at, rec.rules.zone
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
    if pull.booking not in (None, booking.number):
        other = bookings.bookings(rec.conn, only=pull.booking).get(pull.booking or 0)
        if other is not None and other.state == "booked":
            rec.note(
                "kit-taken", f"P-{pull.number} was promised to B-{pull.booking}", "stockroom warmup check", urgent=True
            )
    target = ledger.placed(rec.book, "used", "outside")
    ledger.moved(rec.book, pull.lot, 1, key_of(rec, pull.place), target, "use", booking=booking.number, why=why)
    return {"product": product.code, "pull": f"P-{pull.number}", "lot": now.lot.code, "place": "out", "quantity": 1}


def missed(store: Store, act: Act, text: str, kit: str | None) -> Recorded:
    """Records that nobody came, or that it was declined: a sealed kit stays out and free, an opened one is used up.

    Raises: Refused where a kit is out for it and nobody says what became of it.
    """
    act = _at_its_time(store, act, text)
    with recording(store, act, "missed") as rec:
        booking = booking_named(rec.conn, rec.rules, text)
        _booked_still(booking, "missed")
        lots = lots_there(rec.conn, act.at)
        out = [(p, lots[p.lot]) for p in still_out(rec, booking.number)]
        if out and kit not in ("sealed", "opened"):
            names = ", ".join(p.place for p, _ in out)
            raise Refused(
                "sealed-or-opened", f"{names} is out for B-{booking.number}", "add --kit sealed or --kit opened"
            )
        used = _opened(rec, booking, out) if kit == "opened" else []
        _change(rec, booking, "missed", None, kit)
        freed = free_promises(rec, booking.number) if kit != "opened" else []
        rec.book.what = f"B-{booking.number} missed" + (f", kit {kit}" if kit else "")
        if used:
            rec.book.what += f": {_said(used)} used up"
        rec.fields |= {
            "booking": f"B-{booking.number}", "state": "missed", "kit": kit, "used": used, "freed": [f"P-{n}" for n in freed],
        }  # fmt: skip
    return rec.done()


def _opened(rec: Recording, booking: Booking, out: list[tuple[Pull, LotNow]]) -> list[dict[str, object]]:
    """Appends that the kits of a missed booking were opened: those that are out for it, else free ones that are out,
    else ones straight from the fridge."""
    why = "opened, then the booking was missed"
    practice = rec.rules.practice
    left: dict[str, int] = {}
    for need in needs_of(rec.rules, booking, ()):
        left[need.product] = left.get(need.product, 0) + 1
    used = []
    for pull, now in out:
        left[pull.product] = left.get(pull.product, 0) - 1
        used.append(use_kit(rec, product_named(practice, pull.product), pull, now, booking, why=why))
    for code, n in left.items():
        product = product_named(practice, code)
        free, _ = kits_for(rec.conn, rec.rules, product, booking, rec.act.at) if n > 0 else ([], [])
        for pull, now in free[: max(0, n)]:
            used.append(use_kit(rec, product, pull, now, booking, why=why))
        if n > len(free):
            rows = use_pieces(rec, product, n - len(free), booking.site, booking=booking.number, why=why)
            used += [{"product": code, "pull": None, **row} for row in rows]
    return used


def ready_to_record(store: Store, act: Act, texts: Sequence[str]) -> list[str]:
    """Several bookings, each once by whatever it was called.

    Raises: Refused where one cannot be recorded as done, before any of them is.
    """
    found: dict[int, str] = {}
    for text in texts:
        at = _at_its_time(store, act, text).at
        with store.reading() as conn:
            rule = rules(conn, at)
            booking = booking_named(conn, rule, text)
            _booked_still(booking, "done")
            procedure_named(rule.practice, booking.procedure)
            found.setdefault(booking.number, text)
    return list(found.values())


def pairs(texts: list[str], what: str) -> dict[str, str]:
    """``PRODUCT=VALUE`` options as a dict. Raises: Refused."""
    found: dict[str, str] = {}
    for text in texts:
        code, sign, value = text.partition("=")
        if not sign or not code.strip() or not value.strip():
            raise Refused("bad-option", f'"{text}" is not PRODUCT={what}', f"write it like CODE={what}")
        found[code.strip()] = value.strip()
    return found
