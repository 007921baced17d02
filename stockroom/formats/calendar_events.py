"""A calendar file -> bookings: one for each event, and one for each instance of a series within a horizon.

UID is the identity; an instance of a series is known by its UID and the instant that the rule gave it, also where a
RECURRENCE-ID moved it (published: RFC 5545, 3.8.4.4 and 3.8.4.7).
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from stockroom.core.patient import like_a_name
from stockroom.core.recurrence import repeated
from stockroom.core.units import count
from stockroom.core.when import utc_text
from stockroom.formats import calendar_words as words_of
from stockroom.formats.bookings_csv import BookingFile, BookingRow, Series
from stockroom.formats.calendar_rules import RuleFault, Stamp, rule_of, stamp_of
from stockroom.formats.calendar_text import OWN_UID, Line, Part, parts
from stockroom.formats.calendar_words import Words
from stockroom.formats.calendar_zones import Zone, ZoneFault, Zones, wall_seconds
from stockroom.formats.table_text import Rejected, shown

MOST_BOOKINGS = 50_000
MOST_DAYS = 3_000_000
"""Days over which the series of one file are followed: more is no practice's diary, and would take minutes."""


@dataclass(frozen=True, slots=True)
class Horizon:
    """The span of UTC seconds in which the instances of series are looked at."""

    first: int
    last: int


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
    days: int = 0


class _EventFault(Exception):
    """Why an event is no booking."""


def read_calendar(data: bytes, name: str, *, zone: ZoneInfo, words: Words, horizon: Horizon) -> BookingFile:
    """The bookings of a calendar file. Floating times are read in ``zone``.

    An event that cannot be read, or of which it is not certain what it books, is rejected by its UID and the others
    go in. Raises: Refused where the file is no text or has more events than a practice can mean.
    """
    found, notes = parts(data, name)
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
        few = ", ".join(shown(u) for u in reader.longer[:3]) + (" …" if len(reader.longer) > 3 else "")
        reader.notes.append(
            f"{count(len(reader.longer), 'series goes', 'series go')} on after {until} and were read up to that day: {few}"
        )
    return BookingFile(
        tuple(reader.rows.values()), tuple(reader.rejected), tuple(reader.notes), frozenset(reader.ids), reader.series
    )


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
            at = _instant(reader, line)
        except (RuleFault, ZoneFault, _EventFault) as fault:
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
        _add(reader, uid, uid, event, None)
        return
    try:
        state, why = words_of.state_in(event, reader.words)
        if why:
            raise _EventFault(why)
        sequence, stamped = _version(event)
        begun, zone = _start(reader, event)
        starts = [] if state == "cancelled" else list(_instances(reader, uid, event, begun, zone))
    except (RuleFault, ZoneFault, _EventFault) as fault:
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
    except (RuleFault, ZoneFault, _EventFault) as fault:
        _reject(reader, uid, str(fault))
        return False
    reader.ids.add(external)
    reader.rows[external] = row
    return True


def _reject(reader: _Reader, uid: str, why: str) -> None:
    reader.rejected.append(Rejected(0, why, uid))


def _row(reader: _Reader, uid: str, external: str, event: Part, start: int | None) -> BookingRow:
    if not event.closed:
        raise _EventFault("it is cut off: it has no END:VEVENT")
    for name in ("DTSTART", "RECURRENCE-ID"):
        if len(event.all(name)) > 1:
            raise _EventFault(f"it has more than one {name}")
    state, why = words_of.state_in(event, reader.words)
    if why:
        raise _EventFault(why)
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
        raise _EventFault(fault)
    at = _first(*_start(reader, event)) if start is None else start
    return BookingRow(
        0, external, procedure, at, patient, cycles, state, _made(event), words_of.site_in(event, reader.words), uid,
        sequence, stamped,
    )  # fmt: skip


def _cancelled_at(reader: _Reader, event: Part, start: int | None) -> int:
    try:
        return _first(*_start(reader, event)) if start is None else start
    except (RuleFault, ZoneFault, _EventFault):
        return 0


def _made(event: Part) -> int | None:
    """When it was first entered, where the file says so in UTC."""
    line = event.first("CREATED")
    try:
        stamp = None if line is None else stamp_of(line.value)
    except RuleFault:
        return None
    return wall_seconds(stamp.wall) if stamp and stamp.utc else None


def _start(reader: _Reader, event: Part) -> tuple[Stamp, Zone]:
    line = event.first("DTSTART")
    if line is None:
        broken = f" (a line could not be read: {shown(event.unread[0])})" if event.unread else ""
        raise _EventFault(f"it has no DTSTART{broken}")
    return _stamp(reader, line)


def _stamp(reader: _Reader, line: Line, value: str | None = None) -> tuple[Stamp, Zone]:
    """A written time with its zone. Raises: RuleFault, ZoneFault, _EventFault for a day without a time."""
    stamp = stamp_of(line.value if value is None else value)
    if stamp.day:
        raise _EventFault(f"{line.name} is a day without a time ({stamp.wall:%Y-%m-%d}): not guessed")
    if stamp.utc:
        return stamp, reader.zones.utc
    name = line.parameters.get("TZID", "").strip()
    return stamp, reader.zones.named(name) if name else reader.zones.usual


def _instant(reader: _Reader, line: Line, value: str | None = None) -> int:
    return _first(*_stamp(reader, line, value))


def _first(stamp: Stamp, zone: Zone) -> int:
    """The instant of a written time: the first where clocks show it twice, by the offset before where they skip it.

    Published: RFC 5545, 3.3.5.
    """
    wall = wall_seconds(stamp.wall)
    found = zone.found(wall)
    return found[0] if found else zone.before(wall)


def _instances(reader: _Reader, uid: str, event: Part, begun: Stamp, zone: Zone) -> Iterator[int]:
    """The starts of a series within the horizon, in order of time."""
    if event.all("EXRULE"):
        raise _EventFault("it has an EXRULE, which no standard has any more")
    if len(event.all("RRULE")) > 1:
        raise _EventFault("it has more than one rule")
    horizon, start = reader.horizon, _first(begun, zone)
    found = {start}
    line = event.first("RRULE")
    if line is not None:
        since = start if re.search(r"(?i)COUNT\s*=", line.value) else horizon.first
        reader.days += max(0, horizon.last - since) // 86_400
        if reader.days > MOST_DAYS:
            raise _EventFault("the file has more series than can be followed: export a shorter span of the calendar")
        ruled, longer = _ruled(line, begun, zone, horizon)
        found |= ruled
        if longer:
            reader.longer.append(uid)
    for more in event.all("RDATE"):
        found |= {_instant(reader, more, v.split("/")[0]) for v in more.value.split(",")}
    for less in event.all("EXDATE"):
        found -= {_instant(reader, less, v) for v in less.value.split(",")}
    yield from sorted(at for at in found if horizon.first <= at <= horizon.last)


def _ruled(line: Line, begun: Stamp, zone: Zone, horizon: Horizon) -> tuple[set[int], bool]:
    """The instants that a rule gives up to the horizon, and whether it goes on after it.

    The first instance counts, whether or not the rule has it. A clock time that is skipped is no instance and is not
    counted (published: RFC 5545, 3.3.10).
    """
    repeats = rule_of(line.value, begun.wall.time())
    until = _until(repeats.until, zone)
    first = begun.wall.date() if repeats.count is not None else _day(horizon.first, -2)
    found: set[int] = set()
    left = None if repeats.count is None else repeats.count - 1
    for wall in repeated(repeats.rule, begun.wall, first, max(_day(horizon.last, 2), begun.wall.date())):
        shown_at = zone.found(wall_seconds(wall))
        if wall == begun.wall or not shown_at:
            continue
        if left == 0 or (until is not None and shown_at[0] > until):
            return found, False
        left = None if left is None else left - 1
        found.add(shown_at[0])
    return found, left != 0 and (until is None or until > horizon.last)


def _until(until: Stamp | None, zone: Zone) -> int | None:
    """The last instant of a rule: UTC, or by the event's own clock; a day alone lasts to its end."""
    if until is None:
        return None
    if until.utc:
        return wall_seconds(until.wall)
    wall = until.wall + timedelta(days=1, seconds=-1) if until.day else until.wall
    return _first(Stamp(wall), zone)


def _day(at: int, more: int) -> date:
    return (datetime.fromtimestamp(at, UTC) + timedelta(days=more)).date()
