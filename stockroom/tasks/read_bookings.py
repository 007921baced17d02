"""How a file of bookings is read: by what is given now, else by what was chosen before; a calendar or a table."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from stockroom.core.practice import Practice
from stockroom.errors import Refused, nearest, unknown
from stockroom.formats.bookings_csv import COLUMNS, STATES, BookingFile, Terms, read_bookings
from stockroom.tasks.places import folded
from stockroom.tasks.rules import Rules

ENDINGS = (".ics", ".ical", ".ifb")
"""How the names of calendar files end."""
BACK, AHEAD = 30 * 86_400, 180 * 86_400
"""Instances of a series are read from so long before now to so long after it."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What was said about the file: our word -> its own. An empty one takes back what was remembered."""

    columns: Mapping[str, str] = field(default_factory=dict)
    states: tuple[tuple[str, str], ...] = ()
    procedures: tuple[tuple[str, str], ...] = ()
    day_first: bool | None = None
    patient_pattern: str | None = None


@dataclass(frozen=True, slots=True)
class Read:
    """The file's bookings, whether it is a calendar, and what to remember for the next one."""

    file: BookingFile
    calendar: bool
    memory: Mapping[str, Any]


def read_file(data: bytes, name: str, reading: Reading, remembered: str | None, rule: Rules, now: int) -> Read:
    """Reads a file of bookings, told apart by what stands in it. Raises: Refused."""
    from stockroom.formats.calendar_text import is_calendar

    before = json.loads(remembered or "{}")
    memory = _merged(before, reading, rule.practice)
    calendar = is_calendar(data)
    if calendar:
        return Read(_calendar(data, name, memory, rule, now), True, memory)
    if name.casefold().endswith(ENDINGS) and data.strip():
        what = f"{name} is no calendar: it does not begin with BEGIN:VCALENDAR"
        raise Refused("not-a-calendar", what, "export it again from the calendar program, and look into the file")
    terms = Terms(memory.get("columns", {}), memory.get("states", {}), memory.get("procedures", {}))
    try:
        found = read_bookings(data, name, zone=rule.zone, day_first=memory.get("day_first"), terms=terms)
    except Refused as fault:
        kept = {k: v for k, v in before.get("columns", {}).items() if k not in reading.columns}
        if fault.slug != "missing-column":
            raise
        if not kept:
            todo = f"{fault.todo}; where it calls one otherwise: --column id=THEIRS, and so on for each"
            raise Refused(fault.slug, fault.what, todo) from None
        listed = " ".join(f'--column {k}="{v}"' for k, v in kept.items())
        raise Refused(
            fault.slug, fault.what, f"{listed} was remembered; --column {next(iter(kept))}= forgets one; {fault.todo}"
        ) from None
    return Read(found, False, memory)


def _calendar(data: bytes, name: str, memory: Mapping[str, Any], rule: Rules, now: int) -> BookingFile:
    from stockroom.formats.calendar_events import read_calendar
    from stockroom.formats.calendar_moments import Horizon
    from stockroom.formats.calendar_words import Words

    practice = rule.practice
    words = Words(
        {**{p.code: p.code for p in practice.procedures}, **memory.get("procedures", {})},
        practice.patient_code or memory.get("patient_pattern"),
        [s.name for s in practice.sites],
        memory.get("states", {}),
    )
    return read_calendar(data, name, zone=rule.zone, words=words, horizon=Horizon(now - BACK, now + AHEAD))


def _merged(before: Mapping[str, Any], reading: Reading, practice: Practice) -> dict[str, Any]:
    """What was remembered, changed by what is given now. Raises: Refused for a word that is none of ours."""
    columns = dict(before.get("columns", {}))
    for ours, theirs in reading.columns.items():
        if ours not in COLUMNS:
            raise Refused("unknown-column", f'there is no column "{ours}"{nearest(ours, list(COLUMNS))}')
        columns.pop(ours, None)
        for other in ("date", "time") if ours == "start" else ("start",) if ours in ("date", "time") else ():
            columns.pop(other, None)
        if theirs:
            columns[ours] = theirs
    states, procedures = dict(before.get("states", {})), dict(before.get("procedures", {}))
    for ours, theirs in reading.states:
        if ours not in STATES:
            raise Refused("bad-option", f'"{ours}" is no state', "write --state booked=WORD or --state cancelled=WORD")
        _said(states, ours, theirs)
    codes = [p.code for p in practice.procedures]
    for word, theirs in reading.procedures:
        code = folded(word, codes)
        if code is None:
            raise unknown("unknown-procedure", "procedure", word, codes)
        _said(procedures, code, theirs)
    pattern = before.get("patient_pattern") if reading.patient_pattern is None else reading.patient_pattern or None
    if pattern:
        try:
            re.compile(pattern)
        except re.error as fault:
            raise Refused("bad-option", f"{pattern} is no pattern: {fault}", "write it like P-[0-9]+") from None
    found = {
        "columns": columns, "states": states, "procedures": procedures, "patient_pattern": pattern,
        "day_first": before.get("day_first") if reading.day_first is None else reading.day_first,
    }  # fmt: skip
    return {k: v for k, v in found.items() if v not in (None, {})}


def _said(known: dict[str, str], ours: str, theirs: str) -> None:
    """Their word means ours from now on; an empty one forgets all that meant it."""
    if theirs:
        known[theirs] = ours
        return
    for word in [w for w, o in known.items() if o == ours]:
        del known[word]
