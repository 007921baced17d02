"""Logger files into the record: the whole of them or nothing, and never the same reading twice."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from stockroom.core.excursions import Ints, silences
from stockroom.core.units import celsius, count, few
from stockroom.core.when import utc_text
from stockroom.errors import Refused
from stockroom.formats.logger_csv import LoggerFile, read_logger
from stockroom.store import fridges, practices
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.consequences import settle
from stockroom.tasks.places import fridge_named, key_of
from stockroom.tasks.rules import rules


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


def import_log(
    store: Store, act: Act, files: Sequence[tuple[str, bytes]], *, fridge: str | None, reading: Reading
) -> Recorded:
    """Records the readings of one or more files of one fridge. A second import of the same rows adds nothing.

    Two values for one instant: the first stays, the other is reported and kept as a conflict.
    Raises: Refused for a file that is no logger file, or that could be read in two ways.
    """
    with store.reading() as conn:
        rule = rules(conn, act.at)
        name = fridge_named(rule.practice, fridge, act.site)
        memory = json.loads(practices.remembered(conn, f"logger:{name}") or "{}")
    how = {**memory, **reading.given()}
    zone = _zone(how.pop("zone", None), rule.zone)
    # Parsed before the lock is taken: a long file keeps nobody waiting.
    parsed = [(n, read_logger(data, n, zone=zone, **how)) for n, data in files]
    with recording(store, act, "import") as rec:
        key = key_of(rec, name)
        rejected: list[dict[str, Any]] = []
        at, milli, line, source = _joined(parsed, act.now, rejected)
        new_at, new_milli, already, conflicts = _new(rec, key, at, milli, line, source)
        if len(new_at):
            rec.book.add_readings(key, new_at, new_milli)
            rec.touches(name, int(new_at[0]))
            settle(rec)
            rec.fridges.clear()
        if reading.given():
            practices.remember(rec.book, f"logger:{name}", json.dumps({**memory, **reading.given()}, sort_keys=True))
        gaps = _gaps(rec, name, key, at)
        touched = _touched(rec, new_at)
        names = ", ".join(n for n, _ in files)
        rec.book.what = f"{name}: {count(len(new_at), 'reading')} from {names}"
        for note in dict.fromkeys(f"{n}: {text}" for n, f in parsed for text in f.notes):
            rec.note("file", note)
        rec.fields |= {
            "fridge": name,
            "lines": sum(f.lines for _, f in parsed),
            "added": len(new_at),
            "already_there": already,
            "conflicts": conflicts,
            "rejected": rejected,
            "first": utc_text(int(at.min())) if len(at) else None,
            "last": utc_text(int(at.max())) if len(at) else None,
            "gaps": gaps,
            "excursions": touched,
        }
        _tell(rec, rejected, conflicts, touched, names)
    return rec.done()


def _zone(text: str | None, usual: ZoneInfo) -> ZoneInfo:
    if text is None:
        return usual
    try:
        return ZoneInfo(text)
    except (ValueError, OSError, KeyError):
        raise Refused("unknown-zone", f'there is no time zone "{text}"', "write it like Europe/Lisbon or UTC") from None


def _joined(
    parsed: Sequence[tuple[str, LoggerFile]], now: int, rejected: list[dict[str, Any]]
) -> tuple[Ints, Ints, Ints, list[str]]:
    """All accepted rows in file order: (instants, thousandths, lines, file of each where there are several)."""
    several = len(parsed) > 1
    ats, millis, lines, names = [], [], [], []
    for name, file in parsed:
        extra = {"file": name} if several else {}
        rejected += [{"line": r.line, "why": r.why, **extra} for r in file.rejected]
        ahead = file.at > now + 300
        for n in file.line[ahead].tolist():
            rejected.append({"line": n, "why": "lies ahead of now: look at the device's clock", **extra})
        ats.append(file.at[~ahead])
        millis.append(file.milli[~ahead])
        lines.append(file.line[~ahead])
        names += [name] * int((~ahead).sum()) if several else []
    empty = np.array([], dtype=np.int64)
    return np.concatenate([empty, *ats]), np.concatenate([empty, *millis]), np.concatenate([empty, *lines]), names


def _new(
    rec: Recording, key: int, at: Ints, milli: Ints, line: Ints, source: Sequence[str]
) -> tuple[Ints, Ints, int, list[dict[str, Any]]]:
    """(new instants, their values, rows already there, conflicts): the first value for an instant stays."""
    if not len(at):
        return at, milli, 0, []
    order = np.argsort(at, kind="stable")
    sorted_at, sorted_milli = at[order], milli[order]
    first = np.concatenate(([True], np.diff(sorted_at) != 0))
    kept = sorted_milli[first]
    known_at, known_milli = fridges.series(rec.conn, key, int(sorted_at[0]), int(sorted_at[-1]))
    unique_at = sorted_at[first]
    where = np.searchsorted(known_at, unique_at)
    there = np.zeros(len(unique_at), dtype=bool)
    inside = where < len(known_at)
    there[inside] = known_at[where[inside]] == unique_at[inside]
    kept[there] = known_milli[where[there]]
    # Every row is compared with the value that stands for its instant.
    group = np.cumsum(first) - 1
    differs = sorted_milli != kept[group]
    repeated = ~first | there[group]
    fresh = ~there
    on_record = fridges.known_conflicts(rec.conn, key)
    conflicts = []
    for i in np.flatnonzero(differs & repeated).tolist():
        row, when, other = int(order[i]), int(sorted_at[i]), int(sorted_milli[i])
        conflicts.append(
            {
                "line": int(line[row]),
                "at": utc_text(when),
                "kept_celsius": celsius(int(kept[group[i]])),
                "other_celsius": celsius(other),
                **({"file": source[row]} if source else {}),
            }
        )
        if (when, other) not in on_record:
            on_record.add((when, other))
            fridges.conflicting(rec.book, key, when, int(kept[group[i]]), other, int(line[row]))
    already = int((repeated & ~differs).sum())
    return unique_at[fresh], kept[fresh], already, conflicts


def _gaps(rec: Recording, name: str, key: int, at: Ints) -> list[dict[str, Any]]:
    """Silences that begin or end within what the files cover, as the record now has them."""
    fridge = rec.rules.practice.fridge(name)
    if fridge is None or not len(at):
        return []
    edge = fridges.last_reading(rec.conn, key, int(at.min()) - 1)
    start = int(at.min()) if edge is None else edge[0]
    series_at, _ = fridges.series(rec.conn, key, start, _next(rec, key, int(at.max())))
    return [
        {"start": utc_text(g.start), "end": utc_text(g.end), "minutes": round((g.end - g.start) / 60, 2)}
        for g in silences(series_at, fridge)
        if g.end is not None
    ]


def _next(rec: Recording, key: int, after: int) -> int:
    later, _ = fridges.series(rec.conn, key, after + 1, after + 40 * 86_400)
    return int(later[0]) if len(later) else after


def _touched(rec: Recording, new_at: Ints) -> list[str]:
    """Numbers of the excursions that lie, in part at least, where readings are new."""
    if not len(new_at):
        return []
    first, last = int(new_at[0]), int(new_at[-1])
    found = sorted(rec.excursions, key=lambda x: x[0])
    return [f"E-{n}" for n, e in found if e.start <= last and (e.end is None or e.end >= first)]


def _tell(
    rec: Recording, rejected: Sequence[object], conflicts: Sequence[object], touched: Sequence[str], names: str
) -> None:
    if rejected:
        lines = "line was" if len(rejected) == 1 else "lines were"
        rec.note("lines-left-out", f"{names}: {len(rejected)} {lines} left out", "see them with --json", urgent=True)
    if conflicts:
        rec.note(
            "conflict", f"{count(len(conflicts), 'instant')} had another value before: the first stays", "see --json",
            urgent=True,
        )  # fmt: skip
    if touched and not any(f.slug == "quarantined" for f in rec.findings):
        rec.note("excursion", f"out of range: {few(list(touched), 6)}", "see: stockroom fridge check", urgent=True)
