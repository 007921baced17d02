"""Bookings from a file: new, moved and cancelled ones by their own id; the same file twice changes nothing."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from stockroom.core.patient import not_a_code
from stockroom.core.when import local_text
from stockroom.errors import Refused, nearest
from stockroom.formats.bookings_csv import BookingRow
from stockroom.formats.table_text import shown
from stockroom.store import bookings, practices
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.book import free_promises, free_useless_promises
from stockroom.tasks.double_bookings import Double, doubles
from stockroom.tasks.import_findings import Done, needing_somebody, told
from stockroom.tasks.known_bookings import Known, cancelled_as_missing, dropped, missing, site_of_row
from stockroom.tasks.places import folded
from stockroom.tasks.read_bookings import Read, Reading, read_file
from stockroom.tasks.rules import Rules, rules

MOST_ASKED = 12
"""More bookings than that are not asked about one by one whether they are on record already."""


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
        gone = _gone(read, name, missing(conn, rule, read, act.site)) if cancel_missing else []
        twice = doubles(conn, rule, read, act.site)
    # Asked before the lock is taken: a person who thinks keeps nobody waiting.
    listed = [f"B-{b.number} ({b.external_id}) {b.procedure} {local_text(b.start, rule.zone)}" for b in gone]
    if gone and (agreed is None or not agreed(listed)):
        raise Refused(
            "not-agreed", "not in the file: " + "; ".join(listed), "to cancel them add --yes; nothing was recorded"
        )
    same = _same(act, rule, twice)
    with recording(store, act, "bookings") as rec:
        done = Done()
        rejected = [(r.line, r.event, r.why) for r in read.file.rejected]
        diary = Known(rec, read.calendar)
        for double in same:
            diary.joined(double.known.number, double.row.id)
            done.joined.append(double.known.number)
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
        needing_somebody(rec, [*done.added, *done.moved, *done.changed])
        _remember(rec, subject, json.loads(remembered or "{}"), read.memory)
        told(rec, name, read, done, rejected, diary, listed, [d for d in twice if d not in same])
    return rec.done()


def _gone(read: Read, name: str, found: list[bookings.BookingRow]) -> list[bookings.BookingRow]:
    """What a file does not have any more. Raises: Refused where the file itself is not whole."""
    if read.file.cut:
        raise Refused(
            "file-cut-off", f"{name} is cut off: what it does not have may stand in the part that is missing",
            "export it again; without --cancel-missing what is there goes in",
        )  # fmt: skip
    return found


def _remember(rec: Recording, subject: str, before: Mapping[str, Any], memory: Mapping[str, Any]) -> None:
    """Keeps how the file was read for the next one of the site, and says so."""
    if before == memory:
        return
    practices.remember(rec.book, subject, json.dumps(memory, sort_keys=True))
    words = {
        "columns": "the columns", "states": "the words for states", "procedures": "the words for procedures",
        "patient_pattern": "what a patient code looks like",
        "day_first": f"that dates are {'day' if memory.get('day_first') else 'month'} first",
    }  # fmt: skip
    said = [text for key, text in words.items() if key in memory and memory.get(key) != before.get(key)]
    rec.note("remembered", f"remembered for the next file: {', '.join(said)}" if said else "forgotten as you said")


def _same(act: Act, rule: Rules, twice: list[Double]) -> list[Double]:
    """Those that a person at a terminal says are one appointment."""
    if act.ask is None or len(twice) > MOST_ASKED:
        return []
    found = []
    for double in twice:
        row, known = double.row, double.known
        here = f"B-{known.number}, {known.procedure} on {local_text(known.start, rule.zone)}"
        theirs = f"{row.id}, {row.procedure} on {local_text(row.start, rule.zone)}, for {row.patient}"
        if act.ask(f"{theirs}: is that {here}?"):
            found.append(double)
    return found


def _count(done: Done, what: str | None, number: int) -> None:
    if what is None:
        done.unchanged += 1
    else:
        done.lists()[what].append(number)


def _wrong(rec: Recording, row: BookingRow) -> str | None:
    practice = rec.rules.practice
    if row.event and row.state == "cancelled":
        return None
    if folded(row.procedure, [p.code for p in practice.procedures]) is None:
        return _no_procedure(row, [p.code for p in practice.procedures])
    reason = not_a_code(row.patient, practice.patient_code)
    if reason:
        return f"the patient code cannot stand: {reason}"
    if row.made is not None and row.made > rec.act.now + 300:
        return "it was made ahead of now"
    if site_of_row(practice, row, rec.act.site) is None:
        return f'there is no site "{row.site}"' if row.site else "it names no site"
    return None


def _no_procedure(row: BookingRow, codes: list[str]) -> str:
    word = shown(row.procedure)
    hint = nearest(row.procedure, codes)
    return f"there is no procedure {word}" + (
        hint or f": say --procedure {codes[0] if len(codes) == 1 else 'OURS'}={word}"
    )


def _one(rec: Recording, row: BookingRow, diary: Known) -> tuple[str | None, int]:
    """Appends what one line or event changes: (added, moved, cancelled, changed or None, B-number)."""
    practice = rec.rules.practice
    procedure = folded(row.procedure, [p.code for p in practice.procedures]) or row.procedure
    old = diary.row(row.id)
    if old is None and (old := diary.same_event(row)) is not None:
        diary.joined(old.number, row.id)
    if old is None:
        if row.event and row.state == "cancelled":
            return None, 0  # it was never on record: there is nothing to free
        number = bookings.booked(rec.book, site_of_row(practice, row, rec.act.site) or "", row.id)
        diary.version(row, number)
        diary.new[row.id] = number
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
    most = next((p.max_cycles for p in rec.rules.practice.procedures if p.code == procedure), None)
    if state == "booked" and most and row.cycles is not None and row.cycles > most:
        rec.broke("too-many-cycles", f"B-{number}: {row.cycles} cycles are more than the {most} of {procedure}")
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
