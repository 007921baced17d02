"""What a person is told about a file of bookings that was taken in."""

from dataclasses import dataclass, field

from stockroom.core.units import count, few, quoted_lot
from stockroom.formats.table_text import shown
from stockroom.tasks.act import Recording
from stockroom.tasks.diary import diary
from stockroom.tasks.double_bookings import Double
from stockroom.tasks.known_bookings import Known
from stockroom.tasks.read_bookings import Read
from stockroom.tasks.warm_plan import HELP, in_hours, warm_plan

REASONS = 4
"""So many reasons for which lines were left out are named on the screen; the JSON answer has every line."""


@dataclass(slots=True)
class Done:
    """B-numbers by what the file did to them; ``joined``: those that a person said are on record already."""

    added: list[int] = field(default_factory=list)
    moved: list[int] = field(default_factory=list)
    cancelled: list[int] = field(default_factory=list)
    changed: list[int] = field(default_factory=list)
    joined: list[int] = field(default_factory=list)
    unchanged: int = 0

    def lists(self) -> dict[str, list[int]]:
        """The lists by name."""
        return {
            "added": self.added, "moved": self.moved, "cancelled": self.cancelled, "changed": self.changed,
            "joined": self.joined,
        }  # fmt: skip


def told(
    rec: Recording,
    name: str,
    read: Read,
    done: Done,
    rejected: list[tuple[int, str, str]],
    known: Known,
    gone: list[str],
    twice: list[Double],
) -> None:
    """Sets the entry's words, its part of the JSON answer, and the findings."""
    lists = done.lists()
    parts = [f"{len(v)} {k}" for k, v in lists.items() if v]
    rec.book.what = f"bookings from {name}: {', '.join(parts) or 'nothing new'}"
    for note in read.file.notes:
        rec.note("file", note)
    for doubt in read.file.doubts:
        rec.note("file-in-doubt", doubt, "look at it where it comes from, and export it again", urgent=True)
    if gone:
        rec.note("not-in-file", "not in the file and cancelled: " + "; ".join(gone), urgent=True)
    if known.stale:
        rec.note(
            "stale",
            f"{count(len(known.stale), 'event is', 'events are')} older than what is on record, and left out: "
            + few(known.stale, 6),
            "export the calendar again",
            urgent=True,
        )
    rejected = sorted(rejected)
    _left_out(rec, read.calendar, rejected)
    _twice(rec, known, twice)
    rec.fields |= {k: [f"B-{n}" for n in v] for k, v in lists.items()}
    rec.fields |= {
        "unchanged": done.unchanged,
        "stale": known.stale,
        "rejected": [
            {"line": n or None, "event": shown(e, 255)[1:-1] if e else None, "why": why} for n, e, why in rejected
        ],
    }


def _left_out(rec: Recording, calendar: bool, rejected: list[tuple[int, str, str]]) -> None:
    """Names what was left out, once for each reason."""
    if not rejected:
        return
    reasons: dict[str, list[str]] = {}
    for line, event, why in rejected:
        reasons.setdefault(why, []).append(shown(event, 80) if calendar else str(line))
    said = []
    for why, names in list(reasons.items())[:REASONS]:
        word = "" if calendar else "line " if len(names) == 1 else "lines "
        said.append(f"{word}{few(names)}: {why}")
    more = len(reasons) - REASONS
    if more > 0:
        said.append(f"and {count(more, 'other reason')}")
    rec.note(
        "lines-left-out",
        f"{count(len(rejected), 'event' if calendar else 'line')} left out: {'; '.join(said)}",
        "mend them and import again" + ("; every one with its reason: --json" if more > 0 else ""),
        urgent=True,
    )


def _twice(rec: Recording, known: Known, twice: list[Double]) -> None:
    """Says which new bookings may be on record already under another number."""
    new = {d.row.id: d for d in twice if d.row.id in known.new}
    if not new:
        return
    pairs = [f"B-{known.new[i]} ({i}) and B-{d.known.number} for {d.row.patient}" for i, d in new.items()]
    first, d = next(iter(new.items()))
    rec.note(
        "booked-already",
        f"{count(len(pairs), 'patient is', 'patients are')} booked on that day already, perhaps for the same: "
        + few(pairs),
        f"if it is the same one: stockroom booking link B-{d.known.number} {quoted_lot(first)}",
        urgent=True,
    )


def needing_somebody(rec: Recording, numbers: list[int]) -> None:
    """Says at once which of the new or moved bookings cannot be served."""
    if not numbers:
        return
    made = warm_plan(rec.conn, rec.act.at, rule=rec.rules)
    wanted = set(numbers)
    grouped: dict[tuple[str, str], dict[str, None]] = {}
    for row in made.rows:
        if row.booking in wanted and row.state in HELP:
            grouped.setdefault((row.state, row.product), {})[f"B-{row.booking}"] = None
    for (state, product), names in grouped.items():
        rec.note(
            state,
            f"{product} {state} for {count(len(names), 'booking')}: {few(list(names), 6)}",
            "stockroom warmup check",
            urgent=True,
        )
    outside = [
        f"B-{n}"
        for n, b in diary(rec.conn, rec.rules).items()
        if n in wanted and b.start > rec.act.at and not in_hours(rec.rules, b)
    ]
    if outside:
        verb = "lies" if len(outside) == 1 else "lie"
        rec.note("outside-hours", f"{few(outside, 6)} {verb} outside the hours in which somebody is there", urgent=True)
