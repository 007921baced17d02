"""Bookings from a file: new, moved and cancelled ones by their own id; the same file twice changes nothing."""

from collections.abc import Callable

from stockroom.core.patient import not_a_code
from stockroom.core.practice import Practice
from stockroom.core.units import count
from stockroom.core.when import local_text
from stockroom.errors import Refused
from stockroom.formats.bookings_csv import BookingRow, read_bookings
from stockroom.store import bookings
from stockroom.store.bookings import BookingRow as Stored
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.book import free_promises, free_useless_promises
from stockroom.tasks.diary import diary
from stockroom.tasks.places import folded
from stockroom.tasks.rules import rules
from stockroom.tasks.warm_plan import HELP, in_hours, warm_plan


def import_bookings(
    store: Store,
    act: Act,
    data: bytes,
    name: str,
    *,
    day_first: bool | None = None,
    cancel_missing: bool = False,
    agreed: Callable[[list[str]], bool] | None = None,
) -> Recorded:
    """Records what a bookings file says that is not yet on record.

    With ``cancel_missing`` the bookings with an outside id that start within the file's own span and are not in it
    are cancelled, once ``agreed`` has said yes to the list. Lines that name something unknown are reported and left
    out. Raises: Refused for a file that cannot be read.
    """
    with store.reading() as conn:
        zone = rules(conn, act.at).zone
    read = read_bookings(data, name, zone=zone, day_first=day_first)
    rejected = [{"line": r.line, "why": r.why} for r in read.rejected]
    with recording(store, act, "bookings") as rec:
        done: dict[str, list[int]] = {"added": [], "moved": [], "cancelled": [], "changed": []}
        unchanged = 0
        known = bookings.numbers_by_external(rec.conn)
        stored = bookings.bookings(rec.conn)
        for row in read.rows:
            why = _wrong(rec, row)
            if why:
                rejected.append({"line": row.line, "why": why})
                continue
            what, number = _one(rec, row, stored.get(known.get(row.id, 0)))
            if what is None:
                unchanged += 1
            else:
                done[what].append(number)
        if cancel_missing:
            done["cancelled"] += _missing(rec, read.rows, stored, known, agreed)
        for number in done["cancelled"]:
            free_promises(rec, number)
        for number in done["moved"]:
            free_useless_promises(rec, number)
        _help(rec, [*done["added"], *done["moved"], *done["changed"]])
        parts = [f"{len(v)} {k}" for k, v in done.items() if v]
        rec.book.what = f"bookings from {name}: {', '.join(parts) or 'nothing new'}"
        for note in read.notes:
            rec.note("file", note)
        if rejected:
            first = "; ".join(f"line {r['line']}: {r['why']}" for r in rejected[:4])
            rec.note(
                "lines-left-out",
                f"{count(len(rejected), 'line')} left out: {first}",
                "mend them and import again",
                urgent=True,
            )
        rec.fields |= {k: [f"B-{n}" for n in v] for k, v in done.items()}
        rec.fields |= {"unchanged": unchanged, "rejected": sorted(rejected, key=lambda r: int(str(r["line"])))}
    return rec.done()


def _wrong(rec: Recording, row: BookingRow) -> str | None:
    practice = rec.rules.practice
    if folded(row.procedure, [p.code for p in practice.procedures]) is None:
        return f'there is no procedure "{row.procedure}"'
    reason = not_a_code(row.patient, practice.patient_code)
    if reason:
        return f"the patient code cannot stand: {reason}"
    if row.made is not None and row.made > rec.act.now + 300:
        return "it was made ahead of now"
    if _site(practice, row, rec.act.site) is None:
        return f'there is no site "{row.site}"' if row.site else "it names no site"
    return None


def _site(practice: Practice, row: BookingRow, wanted: str | None) -> str | None:
    names = [s.name for s in practice.sites]
    if row.site:
        return folded(row.site, names)
    if wanted is not None:
        return wanted if wanted in names else None
    return names[0] if len(names) == 1 else None


def _one(rec: Recording, row: BookingRow, old: Stored | None) -> tuple[str | None, int]:
    """Appends what one line changes: (added, moved, cancelled, changed or None, B-number)."""
    practice = rec.rules.practice
    procedure = folded(row.procedure, [p.code for p in practice.procedures]) or row.procedure
    if old is None:
        number = bookings.booked(rec.book, _site(practice, row, rec.act.site) or "", row.id)
        # A booking is on record from when it was made, a cancellation from when it was learned of.
        made = row.made if row.made is not None else rec.act.at
        _change(rec, number, row, procedure, "booked", min(made, rec.act.at))
        if row.state == "cancelled":
            _change(rec, number, row, procedure, "cancelled", rec.act.at)
            return "cancelled", number
        return "added", number
    same = (old.procedure, old.start, old.patient, old.cycles) == (procedure, row.start, row.patient, row.cycles)
    if old.state in ("done", "missed"):
        if row.state == "cancelled" or not same:
            rec.note(
                "over-already", f"B-{old.number} ({row.id}) is {old.state}; the file's change was left out", urgent=True
            )
        return None, old.number
    if same and old.state == row.state:
        return None, old.number
    _change(rec, old.number, row, procedure, row.state, rec.act.at)
    if old.state == "cancelled":
        rec.note("booked-again", f"B-{old.number} ({row.id}) was cancelled here; the file books it again", urgent=True)
    if row.state == "cancelled":
        return "cancelled", old.number
    return ("moved" if old.start != row.start else "changed"), old.number


def _change(rec: Recording, number: int, row: BookingRow, procedure: str, state: str, at: int) -> None:
    bookings.changed(
        rec.book,
        number,
        state=state,
        procedure=procedure,
        start=row.start,
        patient=row.patient,
        cycles=row.cycles,
        at=at,
    )


def _missing(
    rec: Recording,
    rows: tuple[BookingRow, ...],
    stored: dict[int, Stored],
    known: dict[str, int],
    agreed: Callable[[list[str]], bool] | None,
) -> list[int]:
    if not rows:
        return []
    first, last = min(r.start for r in rows), max(r.start for r in rows)
    there = {r.id for r in rows}
    gone = [
        b
        for external, number in known.items()
        if external not in there and (b := stored.get(number)) and b.state == "booked" and first <= b.start <= last
    ]
    if not gone:
        return []
    listed = [f"B-{b.number} ({b.external_id}) {b.procedure} {local_text(b.start, rec.rules.zone)}" for b in gone]
    if agreed is None or not agreed(listed):
        raise Refused(
            "not-agreed", "not in the file: " + "; ".join(listed), "to cancel them add --yes; nothing was recorded"
        )
    for b in gone:
        bookings.changed(
            rec.book, b.number, state="cancelled", procedure=b.procedure, start=b.start, patient=b.patient,
            cycles=b.cycles, why="not in the file any more",
        )  # fmt: skip
    return [b.number for b in gone]


def _help(rec: Recording, numbers: list[int]) -> None:
    """Says at once which of the new or moved bookings cannot be served."""
    made = warm_plan(rec.conn, rec.act.at, rule=rec.rules)
    wanted = set(numbers)
    grouped: dict[tuple[str, str], list[int]] = {}
    for row in made.rows:
        if row.booking in wanted and row.state in HELP:
            grouped.setdefault((row.state, row.product), []).append(row.booking)
    for (state, product), found in grouped.items():
        listed = ", ".join(f"B-{n}" for n in found[:6]) + (f" and {len(found) - 6} more" if len(found) > 6 else "")
        rec.note(
            state,
            f"{product} {state} for {count(len(found), 'booking')}: {listed}",
            "stockroom warmup check",
            urgent=True,
        )
    for number, booking in diary(rec.conn, rec.rules).items():
        if number in wanted and booking.start > rec.act.at and not in_hours(rec.rules, booking):
            rec.note("outside-hours", f"B-{number} lies outside the hours in which somebody is there", urgent=True)
