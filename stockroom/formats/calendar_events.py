"""A calendar file -> bookings: one for each event, and one for each instance of a series within a horizon.

UID is the identity; an instance of a series is known by its UID and the instant that the rule gave it, also where a
RECURRENCE-ID moved it (published: RFC 5545, 3.8.4.4 and 3.8.4.7).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from stockroom.core.patient import like_a_name
from stockroom.core.units import count
from stockroom.core.when import utc_text
from stockroom.formats import calendar_words as words_of
from stockroom.formats.bookings_csv import BookingFile, BookingRow, Series
from stockroom.formats.calendar_moments import (
    EventFault,
    Horizon,
    ends_before,
    first_instant,
    followed_days,
    instances,
    instant,
    start_of,
)
from stockroom.formats.calendar_rules import RuleFault, stamp_of
from stockroom.formats.calendar_text import OWN_UID, Part, parts
from stockroom.formats.calendar_words import Words
from stockroom.formats.calendar_zones import ZoneFault, Zones, wall_seconds
from stockroom.formats.table_text import Rejected, shown

MOST_BOOKINGS = 50_000
MOST_DAYS = 3_000_000
"""Days over which the series of one file are followed: more is no practice's diary, and would take minutes."""
EVER = 1 << 40
"""Later than anything: a single event says how many instances there are for all time."""


@dataclass(slots=True)
class _Reader:
    """One file while it is read."""

    zones: Zones
    words: Words
    horizon: Horizon
    rows: dict[str, BookingRow] = field(default_factory=dict)
    rejected: list[Rejected] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    ids: set[str] = field(default_factory=set)
    series: dict[str, Series] = field(default_factory=dict)
    longer: list[str] = field(default_factory=list)
    backwards: dict[str, None] = field(default_factory=dict)
    """The UIDs of events that end before they begin."""
    days: int = 0


def read_calendar(data: bytes, name: str, *, zone: ZoneInfo, words: Words, horizon: Horizon) -> BookingFile:
    """The bookings of a calendar file. Floating times are read in ``zone``.

    An event that cannot be read, or of which it is not certain what it books, is rejected by its UID and the others
    go in. Raises: Refused where the file is no text or has more events than a practice can mean.
    """
    found, notes, cut = parts(data, name)
    reader = _Reader(Zones((p for p in found if p.kind == "VTIMEZONE"), zone), words, horizon)
    reader.notes += notes
    events = [p for p in found if p.kind == "VEVENT"]
    own = [e for e in events if e.text("UID").strip().endswith(OWN_UID)]
    if own:
        reader.notes.append(f"{count(len(own), 'take-out reminder')} of this program's own: no bookings")
    by_uid: dict[str, list[Part]] = {}
    for number, event in enumerate(events, 1):
        if event.text("UID").strip().endswith(OWN_UID):
            continue
        uid = event.text("UID").strip()
        why = _uid_fault(uid)
        if why:
            reader.rejected.append(Rejected(0, why, f"event {number}"))
        else:
            by_uid.setdefault(uid, []).append(event)
    for uid, mine in by_uid.items():
        reader.ids.add(uid)
        _one_uid(reader, uid, mine)
        if len(reader.rows) > MOST_BOOKINGS:
            reader.rejected.append(
                Rejected(0, f"the file has more than {MOST_BOOKINGS} bookings: the rest was left out", uid)
            )
            break
    if reader.longer:
        until = utc_text(horizon.last)[:10]
        reader.notes.append(
            f"{count(len(reader.longer), 'series goes', 'series go')} on after {until}, read up to that day: "
            + _named(reader.longer)
        )
    return BookingFile(
        tuple(reader.rows.values()), tuple(reader.rejected), tuple(reader.notes), frozenset(reader.ids), reader.series,
        tuple(_doubts(reader, name, cut)), cut,
    )  # fmt: skip


def _named(uids: Sequence[str]) -> str:
    return ", ".join(shown(u) for u in uids[:3]) + (" …" if len(uids) > 3 else "")


def _doubts(reader: _Reader, name: str, cut: bool) -> list[str]:
    found = []
    if reader.backwards:
        said = count(len(reader.backwards), "event ends before it begins", "events end before they begin")
        found.append(f"{said}; taken in by the start: {_named(list(reader.backwards))}")
    if cut:
        found.append(f"{name} is cut off: it has no END:VCALENDAR, and nobody knows what came after")
    return found


def _uid_fault(uid: str) -> str:
    if not uid:
        return "it has no UID, by which alone it could be known again"
    if len(uid) > 255 or not uid.isprintable():
        return "its UID is longer than 255 characters or cannot be printed"
    return "its UID looks like a name" if like_a_name(uid) else ""


def _version(event: Part) -> tuple[int, int | None]:
    """(SEQUENCE, DTSTAMP in UTC seconds): which of two versions of an event is the newer one."""
    text = event.text("SEQUENCE").strip()
    sequence = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
    line = event.first("DTSTAMP")
    try:
        stamp = None if line is None else stamp_of(line.value)
    except RuleFault:
        stamp = None
    return sequence, None if stamp is None else wall_seconds(stamp.wall)


def _newest(events: Sequence[Part]) -> Part:
    return max(enumerate(events), key=lambda e: (_version(e[1])[0], _version(e[1])[1] or 0, e[0]))[1]


def _one_uid(reader: _Reader, uid: str, events: Sequence[Part]) -> None:
    """All that a file says about one UID: the event or series itself, and instances that differ."""
    main = [e for e in events if e.first("RECURRENCE-ID") is None]
    moved: dict[int, list[Part]] = {}
    stop: int | None = None
    for event in events:
        line = event.first("RECURRENCE-ID")
        if line is None:
            continue
        try:
            at = instant(reader.zones, line)
        except (RuleFault, ZoneFault, EventFault) as fault:
            _reject(reader, uid, f"RECURRENCE-ID: {fault}")
            continue
        if line.parameters.get("RANGE", "").upper() == "THISANDFUTURE":
            stop = at if stop is None else min(stop, at)
            _reject(reader, uid, f"it changes the instance of {utc_text(at)} and all later ones, which is not read")
        moved.setdefault(at, []).append(event)
    if len(main) > 1:
        reader.notes.append(f"{shown(uid)} is there {len(main)} times: the newest stands")
    if main:
        _main(reader, uid, _newest(main), set(moved), stop)
    for at, some in moved.items():
        if stop is None or at < stop:
            _add(reader, uid, f"{uid}/{utc_text(at)}", _newest(some), None)


def _main(reader: _Reader, uid: str, event: Part, moved: set[int], stop: int | None) -> None:
    repeats = event.first("RRULE") or event.first("RDATE")
    if repeats is None:
        if _add(reader, uid, uid, event, None):
            # What is on record of it as a series is over, and whoever calls off a series need not repeat its rule.
            row, ids = reader.rows[uid], {uid, *(f"{uid}/{utc_text(at)}" for at in moved)}
            reader.series[uid] = Series(
                row.state == "cancelled", frozenset(ids), reader.horizon.first, EVER, row.sequence, row.stamped
            )
        return
    try:
        state, why = words_of.state_in(event, reader.words)
        if why:
            raise EventFault(why)
        sequence, stamped = _version(event)
        starts = [] if state == "cancelled" else _instances(reader, uid, event)
    except (RuleFault, ZoneFault, EventFault) as fault:
        _reject(reader, uid, str(fault))
        return
    starts = [s for s in starts if stop is None or s < stop]
    last = reader.horizon.last if stop is None else stop - 1
    kept = frozenset(f"{uid}/{utc_text(at)}" for at in {*starts, *moved})
    reader.series[uid] = Series(state == "cancelled", kept, reader.horizon.first, last, sequence, stamped)
    for at in starts:
        if at not in moved and not _add(reader, uid, f"{uid}/{utc_text(at)}", event, at):
            return


def _add(reader: _Reader, uid: str, external: str, event: Part, start: int | None) -> bool:
    """Takes in one booking; False where the event is rejected."""
    try:
        row = _row(reader, uid, external, event, start)
    except (RuleFault, ZoneFault, EventFault) as fault:
        _reject(reader, uid, str(fault))
        return False
    reader.ids.add(external)
    reader.rows[external] = row
    return True


def _instances(reader: _Reader, uid: str, event: Part) -> list[int]:
    """The starts of a series within the horizon."""
    begun, zone = start_of(reader.zones, event)
    start = first_instant(begun, zone)
    reader.days += followed_days(event, start, reader.horizon)
    if reader.days > MOST_DAYS:
        raise EventFault("the file has more series than can be followed: export a shorter span of the calendar")
    starts, longer = instances(reader.zones, event, begun, zone, reader.horizon)
    if longer:
        reader.longer.append(uid)
    return starts


def _reject(reader: _Reader, uid: str, why: str) -> None:
    reader.rejected.append(Rejected(0, why, uid))


def _row(reader: _Reader, uid: str, external: str, event: Part, start: int | None) -> BookingRow:
    if not event.closed:
        raise EventFault("it is cut off: it has no END:VEVENT")
    for name in ("DTSTART", "RECURRENCE-ID"):
        if len(event.all(name)) > 1:
            raise EventFault(f"it has more than one {name}")
    state, why = words_of.state_in(event, reader.words)
    if why:
        raise EventFault(why)
    sequence, stamped = _version(event)
    procedure, no_procedure = words_of.procedure_in(event, reader.words)
    patient, no_patient = words_of.patient_in(event, reader.words)
    cycles, no_cycles = words_of.cycles_in(event)
    if state == "cancelled":
        # What is cancelled is often told without its words: the id is enough for what is on record.
        return BookingRow(
            0, external, procedure, _cancelled_at(reader, event, start), patient, cycles, state, None,
            words_of.site_in(event, reader.words), uid, sequence, stamped,
        )  # fmt: skip
    fault = no_procedure or no_patient or no_cycles
    if fault:
        raise EventFault(fault)
    begun = first_instant(*start_of(reader.zones, event))
    if ends_before(reader.zones, event, begun):
        reader.backwards[uid] = None
    at = begun if start is None else start
    return BookingRow(
        0, external, procedure, at, patient, cycles, state, _made(event), words_of.site_in(event, reader.words), uid,
        sequence, stamped,
    )  # fmt: skip


def _cancelled_at(reader: _Reader, event: Part, start: int | None) -> int:
    try:
        return first_instant(*start_of(reader.zones, event)) if start is None else start
    except (RuleFault, ZoneFault, EventFault):
        return 0


def _made(event: Part) -> int | None:
    """When it was first entered, where the file says so in UTC."""
    line = event.first("CREATED")
    try:
        stamp = None if line is None else stamp_of(line.value)
    except RuleFault:
        return None
    return wall_seconds(stamp.wall) if stamp and stamp.utc else None
