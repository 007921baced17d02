"""Logger files into the record: the whole of them or nothing, and never the same reading twice."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stockroom.core.spells import Ints
from stockroom.core.units import celsius, count, few
from stockroom.core.when import utc_text
from stockroom.formats.logger_csv import LoggerFile
from stockroom.store import fridges, practices
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded, Recording, recording
from stockroom.tasks.consequences import settle
from stockroom.tasks.derive import ensured, mended, silences
from stockroom.tasks.places import fridge_named, key_of
from stockroom.tasks.read_logs import Reading, read_logs
from stockroom.tasks.rules import rules, spans
from stockroom.tasks.shelves import stood


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
    # Parsed before the lock is taken: a long file keeps nobody waiting.
    logs = read_logs(files, reading, memory, rule.zone, act.advance)
    parsed = logs.files
    rejected: list[dict[str, Any]] = []
    rows = _joined(parsed, act.now, rejected)
    lines = sum(f.lines for _, f in parsed)
    notes = dict.fromkeys(f"{n}: {text}" for n, f in parsed for text in f.notes)
    with recording(store, act, "import") as rec:
        key = key_of(rec, name)
        new = _new(rec, key, rows)
        if len(new.at):
            _take_in(rec, name, key, new)
        if logs.memory != memory:
            practices.remember(rec.book, f"logger:{name}", json.dumps(logs.memory, sort_keys=True))
        touched = _touched(rec, new.at)
        names = few([n for n, _ in files], 6)
        rec.book.what = f"{name}: {count(len(new.at), 'reading')} from {names}"
        for note in notes:
            rec.note("file", note)
        rec.fields |= {
            "fridge": name,
            "lines": lines,
            "added": len(new.at),
            "already_there": new.already,
            "conflicts": new.conflicts,
            "rejected": rejected,
            "first": None if new.first is None else utc_text(new.first),
            "last": None if new.last is None else utc_text(new.last),
            "gaps": _gaps(rec, key, new),
            "excursions": touched,
        }
        _tell(rec, rejected, new.conflicts, touched, names)
    return rec.done()


@dataclass(frozen=True, slots=True)
class _Rows:
    """The accepted rows of all files in their order; ``source`` has the file of each, where there are several."""

    at: Ints
    milli: Ints
    line: Ints
    source: Sequence[str]


def _joined(parsed: Sequence[tuple[str, LoggerFile]], now: int, rejected: list[dict[str, Any]]) -> _Rows:
    several = len(parsed) > 1
    ats, millis, lines, names = [], [], [], []
    for name, file in parsed:
        extra = {"file": name} if several else {}
        rejected += [{"line": r.line, "why": r.why, **extra} for r in file.rejected]
        ahead = file.at > now + 300
        for n, at in zip(file.line[ahead].tolist(), file.at[ahead].tolist(), strict=True):
            why = f"{utc_text(at)} lies ahead of now: look at the device's clock"
            rejected.append({"line": n, "why": why, **extra})
        if ahead.any():
            ats.append(file.at[~ahead])
            millis.append(file.milli[~ahead])
            lines.append(file.line[~ahead])
        else:
            ats.append(file.at)
            millis.append(file.milli)
            lines.append(file.line)
        names += [name] * len(ats[-1]) if several else []
    if len(ats) == 1:
        return _Rows(ats[0], millis[0], lines[0], names)
    return _Rows(np.concatenate(ats), np.concatenate(millis), np.concatenate(lines), names)


@dataclass(frozen=True, slots=True)
class _New:
    """What the files add: new readings in order of time, and all that then stands from the first to the last of them."""

    at: Ints
    milli: Ints
    all_at: Ints
    all_milli: Ints
    already: int
    conflicts: list[dict[str, Any]]
    first: int | None
    """The first instant in the files, new or not; ``last`` likewise."""
    last: int | None


def _new(rec: Recording, key: int, rows: _Rows) -> _New:
    """What is new: the first value for an instant stays, another one is a conflict and kept beside it."""
    if not len(rows.at):
        return _New(rows.at, rows.milli, rows.at, rows.milli, 0, [], None, None)
    first, last = int(rows.at.min()), int(rows.at.max())
    known_at, known_milli = fridges.series(rec.conn, key, first, last)
    if not len(known_at) and bool((np.diff(rows.at) > 0).all()):
        return _New(rows.at, rows.milli, rows.at, rows.milli, 0, [], first, last)
    order = np.argsort(rows.at, kind="stable")
    sorted_at, sorted_milli = rows.at[order], rows.milli[order]
    opens = np.concatenate(([True], np.diff(sorted_at) != 0))
    kept, unique_at = sorted_milli[opens], sorted_at[opens]
    where = np.minimum(np.searchsorted(known_at, unique_at), max(len(known_at) - 1, 0))
    there = known_at[where] == unique_at if len(known_at) else np.zeros(len(unique_at), dtype=bool)
    kept[there] = known_milli[where[there]]
    # Every row is compared with the value that stands for its instant.
    group = np.cumsum(opens) - 1
    differs = sorted_milli != kept[group]
    repeated = ~opens | there[group]
    conflicts = _conflicts(rec, key, rows, order, np.flatnonzero(differs & repeated), kept[group])
    at, milli = unique_at[~there], kept[~there]
    all_at, all_milli = at, milli
    if len(at) and len(known_at):
        a, b = np.searchsorted(known_at, [at[0], at[-1]])
        both = np.concatenate((at, known_at[a:b])), np.concatenate((milli, known_milli[a:b]))
        by_time = np.argsort(both[0], kind="stable")
        all_at, all_milli = both[0][by_time], both[1][by_time]
    return _New(at, milli, all_at, all_milli, int((repeated & ~differs).sum()), conflicts, first, last)


def _conflicts(rec: Recording, key: int, rows: _Rows, order: Ints, found: Ints, kept: Ints) -> list[dict[str, Any]]:
    """Rows (positions in ``order``) that say another value than stands; on record once each."""
    on_record = fridges.known_conflicts(rec.conn, key) if found.size else set()
    conflicts = []
    for i in found.tolist():
        row = int(order[i])
        when, other = int(rows.at[row]), int(rows.milli[row])
        conflicts.append(
            {
                "line": int(rows.line[row]),
                "at": utc_text(when),
                "kept_celsius": celsius(int(kept[i])),
                "other_celsius": celsius(other),
                **({"file": rows.source[row]} if rows.source else {}),
            }
        )
        if (when, other) not in on_record:
            on_record.add((when, other))
            fridges.conflicting(rec.book, key, when, int(kept[i]), other, int(rows.line[row]))
    return conflicts


def _take_in(rec: Recording, name: str, key: int, new: _New) -> None:
    """Adds the new readings, mends what is derived from them, and draws the consequences."""
    rule_spans = spans(rec.conn)
    ensured(rec.conn, key, name, rule_spans, stood(rec.conn, name))
    rec.book.add_readings(key, new.at, new.milli, rec.act.advance)
    # A new reading changes excursions that were over before it as well: it may part what was one, or end it later.
    rec.touches(name, mended(rec.conn, key, name, rule_spans, new.all_at, new.all_milli))
    settle(rec)
    rec.fridges.clear()


def _gaps(rec: Recording, key: int, new: _New) -> list[dict[str, Any]]:
    """Silences that begin or end within what the files cover, as the record now has them."""
    if new.first is None or new.last is None:
        return []
    return [
        {"start": utc_text(a), "end": utc_text(b), "minutes": round((b - a) / 60, 2)}
        for a, b in silences(rec.conn, key, new.first, new.last)
    ]


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
