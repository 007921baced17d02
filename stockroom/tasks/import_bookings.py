"""Bookings from a file: new, moved and cancelled ones by their own id; the same file twice changes nothing."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from stockroom.core.patient import not_a_code
from stockroom.core.practice import Practice
from stockroom.core.units import count, few
from stockroom.core.when import local_text
from stockroom.errors import Refused
from stockroom.formats.bookings_csv import BookingRow
from stockroom.formats.table_text import shown
from stockroom.store import bookings, practices
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.book import free_promises, free_useless_promises
from stockroom.tasks.diary import diary
from stockroom.tasks.known_bookings import Known, cancelled_as_missing, dropped, missing
from stockroom.tasks.places import folded
from stockroom.tasks.read_bookings import Read, Reading, read_file
from stockroom.tasks.rules import rules
from stockroom.tasks.warm_plan import HELP, in_hours, warm_plan


def import_bookings(
    store: Store,
    act: Act,
    data: bytes,
    name: str,
    *,
    reading: Reading = Reading(),  # noqa: B008 (frozen)
    cancel_missing: bool = False,
    agreed: Callable[[list[str]], bool] | None = None,
) -> Recorded:
    """Records what a file of bookings says that is not yet on record: a CSV table, or a calendar (iCalendar).

    With ``cancel_missing`` the bookings with an outside id that start within the file's own span and are not in it
    are cancelled, once ``agreed`` has said yes to the list. Lines and events that name something unknown are
    reported and left out. Raises: Refused for a file that cannot be read.
    """
    subject = f"bookings:{act.site or ''}"
    with store.reading() as conn:
        rule = rules(conn, act.at)
        remembered = practices.remembered(conn, subject)
        read = read_file(data, name, reading, remembered, rule, act.at)
        gone = missing(conn, rule, read, act.site) if cancel_missing else []
    # Asked before the lock is taken: a person who thinks keeps nobody waiting.
    listed = [f"B-{b.number} ({b.external_id}) {b.procedure} {local_text(b.start, rule.zone)}" for b in gone]
    if gone and (agreed is None or not agreed(listed)):
        raise Refused(
            "not-agreed", "not in the file: " + "; ".join(listed), "to cancel them add --yes; nothing was recorded"
        )
    with recording(store, act, "bookings") as rec:
        done = _Done()
        rejected = [(r.line, r.event, r.why) for r in read.file.rejected]
        diary = Known(rec, read.calendar)
        for row in read.file.rows:
            why = _wrong(rec, row)
            if why:
                rejected.append((row.line, row.event, why))
            else:
                _count(done, *_one(rec, row, diary))
        for uid, series in read.file.series.items():
            done.cancelled += dropped(rec, diary, uid, series)
        done.cancelled += cancelled_as_missing(rec, [b.number for b in gone], diary)
        for number in done.cancelled:
            free_promises(rec, number)
        for number in done.moved:
            free_useless_promises(rec, number)
        _help(rec, [*done.added, *done.moved, *done.changed])
        if json.loads(remembered or "{}") != read.memory:
            practices.remember(rec.book, subject, json.dumps(read.memory, sort_keys=True))
        _tell(rec, name, read, done, rejected, diary, listed)
    return rec.done()


@dataclass(slots=True)
class _Done:
    """B-numbers by what the file did to them."""

    added: list[int] = field(default_factory=list)
    moved: list[int] = field(default_factory=list)
    cancelled: list[int] = field(default_factory=list)
    changed: list[int] = field(default_factory=list)
    unchanged: int = 0

    def lists(self) -> dict[str, list[int]]:
        """The four lists by name."""
        return {"added": self.added, "moved": self.moved, "cancelled": self.cancelled, "changed": self.changed}


def _count(done: _Done, what: str | None, number: int) -> None:
    if what is None:
        done.unchanged += 1
    else:
        done.lists()[what].append(number)


def _tell(
    rec: Recording,
    name: str,
    read: Read,
    done: _Done,
    rejected: list[tuple[int, str, str]],
    diary: Known,
    gone: list[str],
) -> None:
    lists = done.lists()
    parts = [f"{len(v)} {k}" for k, v in lists.items() if v]
    rec.book.what = f"bookings from {name}: {', '.join(parts) or 'nothing new'}"
    for note in read.file.notes:
        rec.note("file", note)
    if gone:
        rec.note("not-in-file", "not in the file and cancelled: " + "; ".join(gone), urgent=True)
    if diary.stale:
        rec.note(
            "stale",
            f"{count(len(diary.stale), 'event is', 'events are')} older than what is on record, and left out: "
            + few(diary.stale, 6),
            "export the calendar again",
            urgent=True,
        )
    rejected = sorted(rejected)
    if rejected:
        noun = "event" if read.calendar else "line"
        first = "; ".join(f"{shown(e, 80) if read.calendar else f'line {n}'}: {why}" for n, e, why in rejected[:4])
        rec.note(
            "lines-left-out",
            f"{count(len(rejected), noun)} left out: {first}",
            "mend them and import again",
            urgent=True,
        )
    rec.fields |= {k: [f"B-{n}" for n in v] for k, v in lists.items()}
    rec.fields |= {
        "unchanged": done.unchanged,
        "stale": diary.stale,
        "rejected": [
            {"line": n or None, "event": shown(e, 255)[1:-1] if e else None, "why": why} for n, e, why in rejected
        ],
    }


def _wrong(rec: Recording, row: BookingRow) -> str | None:
    practice = rec.rules.practice
    if row.event and row.state == "cancelled":
        return None
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


def _one(rec: Recording, row: BookingRow, diary: Known) -> tuple[str | None, int]:
    """Appends what one line or event changes: (added, moved, cancelled, changed or None, B-number)."""
    practice = rec.rules.practice
    procedure = folded(row.procedure, [p.code for p in practice.procedures]) or row.procedure
    old = diary.row(row.id)
    if old is None:
        if row.event and row.state == "cancelled":
            return None, 0  # it was never on record: there is nothing to free
        number = bookings.booked(rec.book, _site(practice, row, rec.act.site) or "", row.id)
        diary.version(row, number)
        # A booking is on record from when it was made, a cancellation from when it was learned of.
        made = row.made if row.made is not None else rec.act.at
        _change(rec, number, row, procedure, "booked", min(made, rec.act.at))
        if row.state == "cancelled":
            _change(rec, number, row, procedure, "cancelled", rec.act.at)
            return "cancelled", number
        return "added", number
    if row.event and row.state == "cancelled":
        row = replace(row, procedure=old.procedure, start=old.start, patient=old.patient, cycles=old.cycles)
        procedure = old.procedure
    same = (old.procedure, old.start, old.patient, old.cycles) == (procedure, row.start, row.patient, row.cycles)
    if row.event and diary.older(row.sequence, row.stamped, old.number):
        if not same or old.state != row.state:
            diary.stale.append(f"B-{old.number}")
        return None, old.number
    diary.version(row, old.number)
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
        sequence=row.sequence if row.event else None,
    )


def _help(rec: Recording, numbers: list[int]) -> None:
    """Says at once which of the new or moved bookings cannot be served."""
    if not numbers:
        return
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
