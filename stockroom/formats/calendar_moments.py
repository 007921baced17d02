"""When an event of a calendar file takes place: its start, and within a horizon the instances of a series.

Published: RFC 5545, 3.3.5, 3.3.10 and 3.8.5.
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from stockroom.core.recurrence import repeated
from stockroom.formats.calendar_rules import RuleFault, Stamp, rule_of, stamp_of
from stockroom.formats.calendar_text import Line, Part
from stockroom.formats.calendar_zones import Zone, ZoneFault, Zones, wall_seconds
from stockroom.formats.table_text import shown


@dataclass(frozen=True, slots=True)
class Horizon:
    """The span of UTC seconds in which the instances of series are looked at."""

    first: int
    last: int


class EventFault(Exception):
    """Why an event is no booking; its text is for a person."""


def start_of(zones: Zones, event: Part) -> tuple[Stamp, Zone]:
    """The written start of an event with its zone. Raises: EventFault, RuleFault, ZoneFault."""
    line = event.first("DTSTART")
    if line is None:
        broken = f" (a line could not be read: {shown(event.unread[0])})" if event.unread else ""
        raise EventFault(f"it has no DTSTART{broken}")
    return _stamp(zones, line)


def _stamp(zones: Zones, line: Line, value: str | None = None) -> tuple[Stamp, Zone]:
    """A written time with its zone. Raises: RuleFault, ZoneFault, EventFault for a day without a time."""
    stamp = stamp_of(line.value if value is None else value)
    if stamp.day:
        raise EventFault(f"{line.name} is a day without a time ({stamp.wall:%Y-%m-%d}): not guessed")
    if stamp.utc:
        return stamp, zones.utc
    name = line.parameters.get("TZID", "").strip()
    return stamp, zones.named(name) if name else zones.usual


def instant(zones: Zones, line: Line, value: str | None = None) -> int:
    """The instant of a line, or of one of its values. Raises: RuleFault, ZoneFault, EventFault."""
    return first_instant(*_stamp(zones, line, value))


def first_instant(stamp: Stamp, zone: Zone) -> int:
    """The instant of a written time: the first where clocks show it twice, by the offset before where they skip it.

    Published: RFC 5545, 3.3.5.
    """
    wall = wall_seconds(stamp.wall)
    found = zone.found(wall)
    return found[0] if found else zone.before(wall)


def ends_before(zones: Zones, event: Part, start: int) -> bool:
    """True where an event says that it ends before it begins: one of its times is wrong. What cannot be read says nothing."""
    end, length = event.first("DTEND"), event.text("DURATION").strip()
    try:
        return length.startswith("-") or (end is not None and instant(zones, end) < start)
    except (RuleFault, ZoneFault, EventFault):
        return False


def followed_days(event: Part, start: int, horizon: Horizon) -> int:
    """Days through which the rule of an event has to be followed."""
    line = event.first("RRULE")
    if line is None:
        return 0
    since = start if re.search(r"(?i)COUNT\s*=", line.value) else horizon.first
    return max(0, horizon.last - since) // 86_400


def instances(zones: Zones, event: Part, begun: Stamp, zone: Zone, horizon: Horizon) -> tuple[list[int], bool]:
    """The starts of a series within the horizon, in order of time, and whether its rule goes on after it.

    Raises: EventFault, RuleFault, ZoneFault.
    """
    if event.all("EXRULE"):
        raise EventFault("it has an EXRULE, which no standard has any more")
    if len(event.all("RRULE")) > 1:
        raise EventFault("it has more than one rule")
    line, found, longer = event.first("RRULE"), {first_instant(begun, zone)}, False
    if line is not None:
        ruled, longer = _ruled(line, begun, zone, horizon)
        found |= ruled
    for more in event.all("RDATE"):
        found |= {instant(zones, more, v.split("/")[0]) for v in more.value.split(",")}
    for less in event.all("EXDATE"):
        found -= {instant(zones, less, v) for v in less.value.split(",")}
    return sorted(at for at in found if horizon.first <= at <= horizon.last), longer


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
    return first_instant(Stamp(wall), zone)


def _day(at: int, more: int) -> date:
    return (datetime.fromtimestamp(at, UTC) + timedelta(days=more)).date()
