"""Bookings: added, moved, cancelled, linked to an outside id."""

from datetime import timedelta

from stockroom.core.patient import like_a_name, not_a_code
from stockroom.core.practice import Procedure
from stockroom.core.records import Booking, Pull
from stockroom.core.warmup import Row
from stockroom.core.when import local_text
from stockroom.errors import Refused
from stockroom.formats.bookings_csv import LONGEST_ID
from stockroom.store import bookings, ledger
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.diary import booking_named, diary
from stockroom.tasks.places import procedure_named
from stockroom.tasks.shelves import lots_now
from stockroom.tasks.warm_plan import HELP, in_hours, needing_help, warm_plan


def add(
    store: Store, act: Act, procedure: str, start: int, patient: str, cycles: int | None
) -> tuple[Recorded, Booking, list[Row]]:
    """Records a booking and answers at once whether its kits can be warm. Raises: Refused."""
    with recording(store, act, "booking") as rec:
        found = procedure_named(rec.rules.practice, procedure)
        site = rec.rules.site(act.site)
        code = patient_code(rec, patient)
        _cycles(rec, found, cycles)
        _twice(rec, code, start, site)
        before = needing_help(rec.conn, rec.rules, act.at, [site])
        number = bookings.booked(rec.book, site)
        bookings.changed(
            rec.book, number, state="booked", procedure=found.code, start=start, patient=code, cycles=cycles
        )
        when = local_text(start, rec.rules.zone, act.now)
        rec.book.what = f"B-{number}: {found.code} on {when} for {code}"
        booking, rows = _answered(rec, number)
        _broken(rec, before, number, site)
    return rec.done(), booking, rows


def _broken(rec: Recording, before: dict[int, str], number: int, site: str) -> None:
    """Says which other bookings lose their kit by this one."""
    for other, why in needing_help(rec.conn, rec.rules, rec.act.at, [site]).items():
        if other != number and other not in before:
            rec.note(
                "broken-plan",
                f"this takes the kit of B-{other}, which is now {why}",
                "stockroom warmup check",
                urgent=True,
            )


def _answered(rec: Recording, number: int) -> tuple[Booking, list[Row]]:
    """The booking as it now stands with its warm-up rows; what needs a person is noted."""
    booking = booking_named(rec.conn, rec.rules, f"B-{number}")
    if booking.state == "booked" and not in_hours(rec.rules, booking):
        rec.note("outside-hours", f"B-{number} lies outside the hours in which somebody is there", urgent=True)
    made = warm_plan(rec.conn, rec.act.at, site=booking.site or None, rule=rec.rules)
    rows = [r for r in made.rows if r.booking == number]
    for row in rows:
        if row.state in HELP:
            rec.note(row.state, f"{row.product}: {row.why}", f"stockroom {row.todo}", urgent=True)
    return booking, rows


def patient_code(rec: Recording, text: str) -> str:
    """The reference code of a booking. Raises: Refused where it looks like a person, with the reason."""
    code = text.strip()
    why = not_a_code(code, rec.rules.practice.patient_code)
    if why:
        raise Refused(
            "not-a-code", f'"{code}" cannot stand for a patient: {why}', "use the practice's own code, such as P-104"
        )
    return code


def _cycles(rec: Recording, procedure: Procedure, cycles: int | None) -> None:
    if cycles is None:
        return
    if cycles < 0 or cycles > 100:
        raise Refused("bad-cycles", f"{cycles} cycles cannot be", "give 0 or more")
    if procedure.max_cycles and cycles > procedure.max_cycles:
        rec.broke("too-many-cycles", f"{cycles} cycles are more than the {procedure.max_cycles} of {procedure.code}")


def _twice(rec: Recording, patient: str, start: int, site: str) -> None:
    opening = rec.rules.opening(site)
    for other in diary(rec.conn, rec.rules, standing=True).values():
        if other.patient == patient and opening.day(other.start) == opening.day(start):
            when = local_text(other.start, rec.rules.zone, rec.act.now)
            what = f"{patient} is booked on that day already: B-{other.number}, {other.procedure} on {when}"
            if rec.act.ask is not None:
                if not rec.act.ask(f"{what}. Book it all the same?"):
                    raise Refused(
                        "booked-already", what, f"if it is the same one: stockroom booking link B-{other.number} ID"
                    )
                return
            rec.note(
                "booked-already", what, f"if it is the same one: stockroom booking link B-{other.number} ID, and undo this",
                urgent=True,
            )  # fmt: skip
            return


def move(store: Store, act: Act, text: str, start: int) -> tuple[Recorded, Booking, list[Row]]:
    """Moves a booking; a kit that is promised to it stays so while it can still serve. Raises: Refused."""
    with recording(store, act, "booking") as rec:
        booking = _standing(rec, text, "move")
        before = needing_help(rec.conn, rec.rules, act.at, [booking.site])
        _rebook(rec, booking, start=start)
        when = local_text(start, rec.rules.zone, act.now)
        rec.book.what = f"B-{booking.number} moved to {when}"
        free_useless_promises(rec, booking.number)
        booking, rows = _answered(rec, booking.number)
        _broken(rec, before, booking.number, booking.site)
    return rec.done(), booking, rows


def free_useless_promises(rec: Recording, number: int) -> None:
    """Frees the kits promised to a booking that they can no longer serve."""
    if booking_named(rec.conn, rec.rules, f"B-{number}").start <= rec.act.at:
        return  # it has begun: the plan has no rows for it, and its kits stay with it
    made = warm_plan(rec.conn, rec.act.at, rule=rec.rules)
    kept = {r.pull for r in made.rows if r.booking == number and r.pull is not None}
    for pull in still_out(rec, number):
        if pull.number not in kept:
            ledger.promised(rec.book, pull.number, None)
            rec.note("kit-freed", f"P-{pull.number} cannot serve B-{number} any more and is free", urgent=True)


def _standing(rec: Recording, text: str, verb: str) -> Booking:
    booking = booking_named(rec.conn, rec.rules, text)
    if booking.state != "booked":
        raise Refused(
            "not-booked",
            f"B-{booking.number} is {booking.state}, there is nothing to {verb}",
            f"to take that back: stockroom undo R-{booking.entry}",
        )
    return booking


def _rebook(
    rec: Recording, booking: Booking, *, start: int | None = None, state: str = "booked", why: str | None = None
) -> None:
    stored = bookings.bookings(rec.conn, only=booking.number)[booking.number]
    bookings.changed(
        rec.book, booking.number, state=state, procedure=booking.procedure,
        start=booking.start if start is None else start, patient=booking.patient, cycles=stored.cycles, why=why,
        at=max(rec.act.at, stored.changed_at),
    )  # fmt: skip


def cancel(store: Store, act: Act, text: str, why: str) -> Recorded:
    """Cancels a booking; its kits are free. Raises: Refused."""
    with recording(store, act, "booking") as rec:
        booking = _standing(rec, text, "cancel")
        _rebook(rec, booking, state="cancelled", why=why)
        rec.book.what = f"B-{booking.number} cancelled: {why}"
        freed = free_promises(rec, booking.number)
        rec.fields |= {"booking": f"B-{booking.number}", "state": "cancelled", "freed": [f"P-{n}" for n in freed]}
    return rec.done()


def still_out(rec: Recording, number: int) -> list[Pull]:
    """Kits promised to a booking that are out of the fridge and not used."""
    mine = ledger.pulls_for(rec.conn, number, rec.act.at)
    lots = lots_now(rec.conn, rec.act.at, {p.lot for p in mine}) if mine else {}
    return [p for p in mine if p.lot in lots and lots[p.lot].state.quantity(p.place)]


def free_promises(rec: Recording, number: int) -> list[int]:
    """Frees every kit promised to a booking that still is out; says which bookings could take it."""
    freed = []
    for pull in still_out(rec, number):
        ledger.promised(rec.book, pull.number, None)
        freed.append(pull.number)
    if freed:
        made = warm_plan(rec.conn, rec.act.at, rule=rec.rules)
        for n in freed:
            served = next((r.booking for r in made.rows if r.pull == n), None)
            if served is None:
                rec.note(
                    "kit-free",
                    f"P-{n} is out and free; no coming booking can use it",
                    "stockroom warmup check",
                    urgent=True,
                )
            else:
                rec.note("kit-free", f"P-{n} is out and free; it can serve B-{served}")
    return freed


def link(store: Store, act: Act, text: str, external_id: str) -> Recorded:
    """Says that a booking is known outside by an id. Raises: Refused."""
    with recording(store, act, "booking") as rec:
        booking = booking_named(rec.conn, rec.rules, text)
        external_id = external_id.strip()
        if not external_id or like_a_name(external_id) or len(external_id) > LONGEST_ID:
            raise Refused(
                "bad-option",
                f"an outside id is not empty, no name, and no longer than {LONGEST_ID} characters",
                "type it as the other program shows it",
            )
        known = bookings.number_by_external(rec.conn, external_id)
        double = None if known in (None, booking.number) else booking_named(rec.conn, rec.rules, f"B-{known}")
        rec.book.what = f"B-{booking.number} is {external_id}"
        if double is not None:
            _joined(rec, booking, double, external_id)
        bookings.linked(rec.book, booking.number, external_id)
        rec.fields |= {
            "booking": f"B-{booking.number}", "external_id": external_id,
            "double": None if double is None else f"B-{double.number}",
        }  # fmt: skip
    return rec.done()


def _joined(rec: Recording, booking: Booking, double: Booking, external_id: str) -> None:
    """Appends that a booking which an import added is this one: it is cancelled, and its kits are for this one.

    Raises: Refused where they may be two: another patient, another day, or something became of it already.
    """
    day = rec.rules.opening(booking.site).day
    alike = (booking.patient, booking.site, day(booking.start)) == (double.patient, double.site, day(double.start))
    if double.state == "cancelled":
        return
    if double.state != "booked" or booking.state == "cancelled" or not alike:
        raise Refused(
            "linked-already",
            f"{external_id} is B-{double.number} ({double.state}), for another patient or day, or over already",
            f"if it is double all the same: stockroom booking cancel B-{double.number} --why double, then this again",
        )
    for pull in still_out(rec, double.number):
        ledger.promised(rec.book, pull.number, booking.number if booking.state == "booked" else None)
    _rebook(rec, double, state="cancelled", why=f"the same as B-{booking.number}")
    rec.book.what += f"; B-{double.number}, which was double, is cancelled"


def listed(store: Store, at: int, site: str | None, days: int | None) -> list[Booking]:
    """Bookings in order of their start; with ``days`` those from today on and for so many days."""
    from stockroom.tasks.rules import rules

    with store.reading() as conn:
        rule = rules(conn, at)
        found = sorted(diary(conn, rule, at, rule.sites(site)).values(), key=lambda b: (b.start, b.number))
    if days is None:
        return found
    opening = rule.opening(found[0].site if found else "")
    first = opening.midnight(opening.day(at))
    last = opening.midnight(opening.day(at) + timedelta(days=days + 1))
    return [b for b in found if first <= b.start < last]
