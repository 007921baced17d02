"""How the logger files of a fridge are read: by what is given now, else by what was chosen for it before."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from stockroom.errors import Refused
from stockroom.formats.logger_csv import LoggerFile, read_logger

COLUMNS = ("time_column", "temperature_column")


@dataclass(frozen=True, slots=True)
class Reading:
    """How to read the files: what is given here is remembered for the fridge."""

    zone: str | None = None
    unit: str | None = None
    time_column: str | None = None
    temperature_column: str | None = None
    day_first: bool | None = None

    def given(self) -> dict[str, Any]:
        """The options that were given."""
        pairs = {
            "zone": self.zone, "unit": self.unit, "time_column": self.time_column,
            "temperature_column": self.temperature_column, "day_first": self.day_first,
        }  # fmt: skip
        return {k: v for k, v in pairs.items() if v is not None}


@dataclass(frozen=True, slots=True)
class Logs:
    """The files as read, by name, and what to remember for next time."""

    files: Sequence[tuple[str, LoggerFile]]
    memory: Mapping[str, Any]


def read_logs(
    files: Sequence[tuple[str, bytes]],
    reading: Reading,
    memory: Mapping[str, Any],
    usual_zone: ZoneInfo,
    advance: Callable[[str, int, int], None] | None,
) -> Logs:
    """Reads the files of one fridge. ``memory`` is what was remembered for it.

    A unit that was remembered counts only where a file states none. A column is remembered by its name where it has
    one, for a number means another column in another file. Raises: Refused.
    """
    given = reading.given()
    how = {**memory, **given}
    zone = _zone(how.pop("zone", None), usual_zone)
    if "unit" not in given:
        how["usual_unit"] = how.pop("unit", None)
    found = []
    for name, data in files:
        try:
            found.append((name, read_logger(data, name, zone=zone, advance=advance, **how)))
        except Refused as fault:
            kept = [c for c in COLUMNS if c in memory and c not in given]
            if fault.slug != "no-such-column" or not kept:
                raise
            chosen = " and ".join(f"--{c.replace('_', '-')} {memory[c]}" for c in kept)
            todo = f"{chosen} was remembered for this fridge; {fault.todo}"
            raise Refused(fault.slug, fault.what, todo) from None
    named = {c: _named(given[c], [getattr(f, c) for _, f in found]) for c in COLUMNS if c in given}
    return Logs(found, {**memory, **given, **named})


def _named(given: str, meant: Sequence[str]) -> str:
    """The name of the column that was given, where all files agree on it."""
    return meant[0] if len(set(meant)) == 1 else given


def _zone(text: str | None, usual: ZoneInfo) -> ZoneInfo:
    if text is None:
        return usual
    try:
        return ZoneInfo(text)
    except (ValueError, OSError, KeyError):
        raise Refused("unknown-zone", f'there is no time zone "{text}"', "write it like Europe/Lisbon or UTC") from None
