"""The time zones of a calendar file: clock times -> instants, by a file's own definition or by the IANA list.

A name of the IANA list is read by that list; where the file defines it as well, both must give the same instant. Any
other name is what the file's own VTIMEZONE says (published: RFC 5545, 3.6.5), else a Windows name by the table of
the Unicode Consortium that the icalendar library brings. What is none of these is not guessed.
"""

import bisect
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Protocol
from zoneinfo import ZoneInfo

from stockroom.core.recurrence import YEARLY, repeated
from stockroom.formats.calendar_rules import RuleFault, rule_of, stamp_of
from stockroom.formats.calendar_text import Line, Part
from stockroom.formats.logger_times import instants, wall_text
from stockroom.formats.table_text import shown

FIRST, LAST = date(1989, 1, 1), date(2101, 1, 1)
EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 (a clock's face, no instant)
_NOT_PORTABLE = {"localtime", "Factory", "posixrules"}
"""Names that mean something else on every computer."""


class ZoneFault(Exception):
    """Why a clock time of a file cannot be made an instant; its text is for a person."""


class Zone(Protocol):
    """Clock times (wall seconds, see logger_times.py) to instants."""

    def found(self, wall: int) -> tuple[int, ...]:
        """The instants at which the clocks show ``wall``: one, none (skipped), or two (earlier first)."""
        ...

    def before(self, wall: int) -> int:
        """The instant of a skipped clock time by the offset that held before the skip."""
        ...


@dataclass(frozen=True, slots=True)
class Listed:
    """A zone of the IANA list."""

    zone: ZoneInfo

    def found(self, wall: int) -> tuple[int, ...]:
        """See Zone."""
        return instants(wall, self.zone)

    def before(self, wall: int) -> int:
        """See Zone; fold 0 stands for the offset before the change (published: PEP 495)."""
        offset = (EPOCH + timedelta(seconds=wall)).replace(tzinfo=self.zone, fold=0).utcoffset() or timedelta()
        return wall - round(offset.total_seconds())


@dataclass(frozen=True, slots=True)
class Defined:
    """A zone as the file defines it: the instants at which its offset changes, in order, and the offsets."""

    changes: tuple[int, ...]
    offsets: tuple[int, ...]
    """One more than there are changes: the first holds before them."""

    def offset(self, at: int) -> int:
        """Seconds east of UTC at an instant."""
        return self.offsets[bisect.bisect_right(self.changes, at)]

    def found(self, wall: int) -> tuple[int, ...]:
        """See Zone."""
        return tuple(sorted({wall - o for o in set(self.offsets) if self.offset(wall - o) == o}))

    def before(self, wall: int) -> int:
        """See Zone: what the widest offset takes for the instant still lies before the change."""
        return wall - self.offset(wall - max(self.offsets))


@dataclass(frozen=True, slots=True)
class Both:
    """A zone of the IANA list that the file defines as well."""

    name: str
    listed: Listed
    defined: Defined

    def found(self, wall: int) -> tuple[int, ...]:
        """See Zone. Raises: ZoneFault where the two disagree."""
        ours = self.listed.found(wall)
        if ours and ours != self.defined.found(wall):
            raise ZoneFault(
                f"the file's own definition of {shown(self.name)} and the IANA list disagree about {wall_text(wall)}"
            )
        return ours

    def before(self, wall: int) -> int:
        """See Zone."""
        return self.listed.before(wall)


class Zones:
    """The zones that the events of one file may name."""

    def __init__(self, parts: Iterable[Part], usual: ZoneInfo) -> None:
        self.usual = Listed(usual)
        self.utc = Listed(ZoneInfo("UTC"))
        self._parts: dict[str, Part] = {}
        self._known: dict[str, Zone] = {}
        for part in parts:
            self._parts.setdefault(part.text("TZID").strip(), part)

    def named(self, name: str) -> Zone:
        """The zone of a TZID. Raises: ZoneFault where nobody says what it is."""
        if name not in self._known:
            self._known[name] = self._zone(name)
        return self._known[name]

    def _zone(self, name: str) -> Zone:
        listed, part = _iana(name), self._parts.get(name)
        if part is None:
            if listed is None:
                from icalendar.timezone.windows_to_olson import WINDOWS_TO_OLSON

                listed = _iana(WINDOWS_TO_OLSON.get(name, ""))
            if listed is None:
                raise ZoneFault(f"there is no time zone {shown(name)}, neither in the file nor in the IANA list")
            return Listed(listed)
        try:
            defined = _defined(part)
        except RuleFault as fault:
            if listed is not None:
                return Listed(listed)
            raise ZoneFault(f"the time zone {shown(name)} is not defined in a way that can be read: {fault}") from None
        return defined if listed is None else Both(name, Listed(listed), defined)


@lru_cache(maxsize=64)
def _iana(name: str) -> ZoneInfo | None:
    if not name or name in _NOT_PORTABLE or len(name) > 60:
        return None
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, KeyError):
        return None


def _defined(part: Part) -> Defined:
    """A VTIMEZONE as its changes. Raises: RuleFault."""
    found: dict[int, tuple[int, int]] = {}
    for below in part.below:
        if below.kind in ("STANDARD", "DAYLIGHT"):
            before, after = _offset(below.first("TZOFFSETFROM")), _offset(below.first("TZOFFSETTO"))
            for wall in _onsets(below, before):
                found[wall - before] = (before, after)
    if not found:
        raise RuleFault("it has no offsets")
    changes = sorted(found)
    return Defined(tuple(changes), (found[changes[0]][0], *(found[c][1] for c in changes)))


def _onsets(part: Part, before: int) -> list[int]:
    """The clock times, by the old offset, at which an offset begins to hold."""
    line = part.first("DTSTART")
    if line is None:
        raise RuleFault("an offset does not say since when it holds")
    begun = stamp_of(line.value, any_year=True)
    found = [wall_seconds(begun.wall)]
    for rdate in part.all("RDATE"):
        found += [wall_seconds(stamp_of(v.split("/")[0]).wall) for v in rdate.value.split(",")]
    for line in part.all("RRULE"):
        repeats = rule_of(line.value)
        if repeats.rule.every != YEARLY or repeats.rule.times:
            raise RuleFault(f"{shown(line.value)} is no rule of a time zone")
        until = None
        if repeats.until is not None:
            until = wall_seconds(repeats.until.wall) + (before if repeats.until.utc else 0)
        walls = [wall_seconds(w) for w in repeated(repeats.rule, begun.wall, FIRST, LAST)]
        if repeats.count is not None:
            walls = [wall_seconds(w) for w in repeated(repeats.rule, begun.wall, begun.wall.date(), LAST)][
                : repeats.count
            ]
        found += [w for w in walls if until is None or w <= until]
    return found


def wall_seconds(wall: datetime) -> int:
    """A clock time as seconds since the beginning of 1970 on the same clock."""
    return round((wall - EPOCH).total_seconds())


def _offset(line: Line | None) -> int:
    match = re.fullmatch(r"([+-])([0-9]{2})([0-9]{2})([0-9]{2})?", "" if line is None else line.value.strip())
    if match is None:
        raise RuleFault("an offset from UTC is missing or cannot be read")
    seconds = int(match[2]) * 3600 + int(match[3]) * 60 + int(match[4] or 0)
    if seconds >= 86_400:
        raise RuleFault("an offset from UTC is a day or more")
    return -seconds if match[1] == "-" else seconds
