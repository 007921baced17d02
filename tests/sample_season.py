"""Writes the made-up season into sample_data/: `python tests/sample_season.py [DIRECTORY]`.

The practice file sample_data/practice.toml is written by hand and read here, and so is the calendar visiting.ics, which
only the demo's walk takes in; everything else in the directory is made from the practice file with fixed seeds, the same
bytes every time. sample_fridges.py makes the temperatures, sample_diary.py the bookings, sample_events.py what people
typed, following the stock piece by piece.
"""

import csv
import io
import sys
import tomllib
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sample_diary import EXPORTS, SICK_DAY, Booking, Diary, Rules, days
from sample_events import OPENING, PLACES, SHELF, Season, iso
from sample_fridges import (
    FAULTS,
    JUNK,
    MAKES,
    STORE,
    SURGERY,
    ZONE,
    Fridge,
    iso_text,
    local,
    local_text,
    minute,
    months,
    season,
)

HERE = Path(__file__).resolve().parent.parent / "sample_data"
FIRST_DAY, TODAY = date(2026, 1, 15), date(2026, 4, 14)
NOW = minute(f"{TODAY}T08:40")
LOGGED = minute(f"{FIRST_DAY}T00:00"), minute(f"{TODAY}T08:30")
READ_OUTS = {"surgery": ("2026-03-01T00:00", "2026-03-02T12:10"), "store": ("2026-02-01T00:00", "2026-02-06T10:50")}
"""Logger files read out between the months because a check by hand had shown a fault: from, to (local)."""

MISSED = {(SURGERY, "2026-01-29", 0), (STORE, "2026-02-17", 1), (STORE, "2026-04-09", 1)}
"""Checks by hand that nobody made: fridge, day, 0 for opening and 1 for closing."""

LATE_CHECKS = {(SURGERY, "2026-03-02"): "08:52", (SURGERY, "2026-03-16"): "08:50"}
"""Opening checks made once the fault was dealt with."""

EXTRA_CHECKS = [("2026-03-02T11:50", SURGERY)]
"""Checks made on top: the fridge was warm at the one before."""


def csv_text(header: str, rows: Iterable[Sequence[object]]) -> bytes:
    """A CSV file with line feeds."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header.split(","))
    writer.writerows(rows)
    return text.getvalue().encode()


def bookings(rules: Rules) -> list[Booking]:
    """The whole diary: what was drawn, moved and cancelled, with a number and a patient's code for each."""

    def some(arches: int, tooth: int, visits: int) -> dict[str, int]:
        return {"both-arches": arches, "single-tooth": tooth, "shade-visit": visits}

    diary = Diary(rules, seed=52)
    start, early, middle, late = (minute(t) for t in ("2025-12-01T09:00", *EXPORTS))
    far = diary.draw(some(6, 3, 0), date(2026, 2, 26), date(2026, 3, 14), (start, early), lead=90)
    diary.draw(some(14, 7, 2), date(2026, 1, 16), date(2026, 2, 21), (start, early))
    diary.draw(some(13, 7, 2), date(2026, 2, 27), date(2026, 4, 13), (early, middle))
    coming = diary.draw(some(5, 2, 1), date(2026, 4, 16), date(2026, 4, 30), (early, middle), lead=99)
    diary.draw(some(5, 2, 2), date(2026, 4, 16), date(2026, 5, 8), (middle, late))
    for booking, known in ((far[0], "02-05T10:15"), (far[2], "02-16T15:20"), (far[7], "02-20T11:45")):
        diary.move(booking, minute(f"2026-{known}"), date(2026, 2, 26), date(2026, 3, 21))
    for booking, known in ((coming[1], "03-30T09:50"), (coming[3], "04-09T16:05"), (coming[7], "04-11T10:20")):
        diary.move(booking, minute(f"2026-{known}"), date(2026, 4, 17), date(2026, 5, 6))
    for booking, known in ((far[4], "02-12T15:30"), (far[8], "02-21T09:40")):
        booking.cancelled = minute(f"2026-{known}")
    for booking, known in ((coming[0], "03-24T14:40"), (coming[6], "04-10T09:30")):
        booking.cancelled = minute(f"2026-{known}")
    diary.tell_stories()
    diary.name_all()
    return diary.bookings


def export(every: Iterable[Booking], text: str) -> bytes:
    """What the diary exported at a moment: everything from that day on, moves and cancellations included."""
    at = minute(text)
    rows = []
    for b in every:
        if b.made <= at and b.role != "telephone":
            start = b.start_known(at)
            if local(start).date() >= local(at).date():
                state = "cancelled" if b.cancelled is not None and b.cancelled <= at else "booked"
                rows.append((start, b.name, b.procedure, iso(start), b.patient, b.cycles or "", state, iso(b.made)))
    return csv_text("id,procedure,start,patient,cycles,state,made", (r[1:] for r in sorted(rows)))


def staffed(rules: Rules) -> set[int]:
    """Every minute in which somebody was there."""
    spans = (s for d in days(FIRST_DAY, TODAY) if d != SICK_DAY for s in rules.spans(d))
    return {at for first, last in spans for at in range(first, last)}


def hand_checks(rules: Rules, fridges: dict[str, Fridge]) -> list[tuple[int, str, float, float, float, str]]:
    """(at, fridge, °C now, lowest, highest since the check before, by): once or twice on each staffed day."""
    due = [(minute(at), fridge, "MO") for at, fridge in EXTRA_CHECKS]
    for n, day in enumerate(d for d in days(FIRST_DAY, TODAY - timedelta(days=1)) if d != SICK_DAY):
        spans = rules.spans(day)
        times = [(SURGERY, 0, 3 + n * 5 % 9), (STORE, 0, 5 + n * 5 % 9), (STORE, 1, -12 + n * 3 % 8)]
        for fridge, which, offset in times if spans else []:
            at = (spans[-1][1] if which else spans[0][0]) + offset
            if not which and (fridge, str(day)) in LATE_CHECKS:
                at = minute(f"{day}T{LATE_CHECKS[fridge, str(day)]}")
            if (fridge, str(day), which) not in MISSED:
                due.append((at, fridge, ("MO", "MO", "SV", "MO", "KE")[(n + which) % 5]))
    found = []
    before = dict.fromkeys(fridges, LOGGED[0])
    for at, fridge, by in sorted(due):
        found.append((at, fridge, *fridges[fridge].display(before[fridge], at), by))
        before[fridge] = at
    return found


def logger_files(fridges: dict[str, Fridge]) -> dict[str, bytes]:
    """The months of both loggers, and the read-outs between."""
    spans = {f"surgery_{name}": (a, b) for name, a, b in months(ZoneInfo("UTC"), *LOGGED)}
    spans |= {f"store_{name}": (a, b) for name, a, b in months(ZONE, *LOGGED)}
    for name, (since, until) in READ_OUTS.items():
        spans[f"{name}_readout_{until[:10]}"] = minute(since), minute(until)
    files = {}
    for name, (first, last) in spans.items():
        if name.startswith("surgery"):
            files[f"logger/{name}.csv"] = iso_text(fridges[SURGERY].logged(first, last))
        else:
            files[f"logger/{name}.csv"] = local_text(fridges[STORE].logged(first, last), JUNK)
    return files


def when(at: int) -> str:
    """Local day and time."""
    return f"{local(at):%Y-%m-%d %H:%M}"


def fault_lines(fridges: dict[str, Fridge], rules: Rules) -> list[str]:
    """One line of the page about each fault, its figures taken from what the logger wrote."""
    lines = []
    for fault in FAULTS:
        first, last = fault.span
        low, high = rules.limits[fault.fridge]
        rows = list(fridges[fault.fridge].logged(first - 1440, min(last + 1440, LOGGED[1])))
        if fault.kind == "silent":
            a, b = max(t for t, _ in rows if t < first), min(t for t, _ in rows if t > last)
            figures = f"no reading between {when(a)} and {when(b)} ({(b - a) / 60:.1f} h)"
        else:
            out = [(c, t) for t, c in rows if not low <= c <= high]
            worst, at = min(out) if fault.kind == "stuck" else max(out)
            start, end = min(t for _, t in out), max(t for _, t in out)
            figures = f"{len(out)} readings out of {low} to {high} °C, {when(start)} to {when(end)}; "
            figures += f"the worst {worst} °C at {local(at):%H:%M}"
            if fault.kind == "stuck":
                figures += f"; {sum(c < 0 for c, _ in out)} readings below zero"
        lines.append(f"| {fault.name} | {fault.fridge} | {fault.story} | {figures} |")
    return lines


PAGE = """# A made-up season

Everything here is invented: the practice, its suppliers, products, prices, lots, bookings and temperatures. No person,
firm or brand is meant, and nothing in it is advice about any real product. `practice.toml` and `visiting.ics` are written by
hand; the other files are made from the first by `python tests/sample_season.py`, the same bytes every time, and so are the counts below.

The season runs from {first:%A %Y-%m-%d} to {today:%A %Y-%m-%d}, {days} days in {zone}, with the
clock change of 2026-03-29. "Today" is {today:%A} {now}: the last event has been typed in, today's work has
not begun.

| file | holds |
| --- | --- |
| `practice.toml` | the practice, with a comment on every setting |
| `opening_stock.csv` | what was on the shelves on the first day |
| `season.csv` | `at,by,command`: {commands} commands in the order in which they were typed |
| `hand_checks.csv` | {checks} checks by hand, each the command `fridge log` at its `at` |
| `bookings_*.csv` | three exports of the diary, each from its own day on |
| `visiting.ics` | a calendar as another program writes it: one booking, a series with an exception and a moved instance, and an event without a time; not part of the season, the demo's walk takes it in |
| `logger/surgery_*.csv` | {surgery} readings in the months' files: UTC, decimal point |
| `logger/store_*.csv` | {store} readings and {junk} lines that are none: local clock, day first, decimal comma, CRLF |

The commands name files from this directory. Numbers that the program gives (B-36, P-9, O-1) stand in `season.csv` as it
gives them when all is played in order. A `readout` is a logger file read out between the months because a check had
shown a fault; the month's own file holds the same rows again.

## What goes wrong

| fault | where | what | figures |
| --- | --- | --- | --- |
{faults}

- Checks by hand that nobody made: {missed}. The last is not explained.
- {sick:%A %Y-%m-%d}: nobody in; one booking is moved and keeps the kit that was already out.
- Both loggers lost a row now and then; none of these silences is a gap.
- A kit comes back unopened, one is opened for a patient who then declines, one is out for a booking that is cancelled.
- What stood in the surgery fridge while its compressor was dead is discarded, what the cold dip touched is released.
- Today one order is overdue, lots {short_dated} came with little time left, and the open door is undecided.

## Counts

- Bookings in the exports: {exported}; {past} past, {coming} coming, the rest cancelled ahead of their day.
- Moved between exports: {moved}; shown as cancelled in an export: {cancelled}.
- Typed in by hand between exports: {typed}.
- Kits taken out: {pulls}; still out today: {out}. Deliveries: {received}.
"""


def page(every: list[Booking], fridges: dict[str, Fridge], checks: int, played: Season) -> bytes:
    """The one-page description, every count computed."""
    diary = [b for b in every if b.role != "telephone"]
    rows = {name: sum(1 for _ in f.logged(*LOGGED)) for name, f in fridges.items()}
    missed = (f"{day} {('opening', 'closing')[n]} ({name})" for day, n, name in sorted((d, n, f) for f, d, n in MISSED))
    soon = str(TODAY + timedelta(days=30))
    return PAGE.format(
        first=FIRST_DAY,
        today=TODAY,
        days=(TODAY - FIRST_DAY).days + 1,
        zone=ZONE.key,
        now=when(NOW),
        commands=len(played.rows),
        checks=checks,
        surgery=rows[SURGERY],
        store=rows[STORE] - len(JUNK),
        junk=len(JUNK),
        faults="\n".join(fault_lines(fridges, played.rules)),
        missed=", ".join(missed),
        sick=SICK_DAY,
        short_dated=" and ".join(sorted({k[1] for k, n in played.shelf.items() if n and played.expiry[k[:2]] < soon})),
        exported=len(diary),
        past=sum(b.start <= NOW for b in diary),
        coming=sum(b.start > NOW and b.cancelled is None for b in diary),
        moved=sum(len(b.starts) > 1 and not b.role for b in diary),
        cancelled=sum(b.cancelled is not None and not b.role for b in diary),
        typed=len(every) - len(diary),
        pulls=played.pulls,
        out=played.out,
        received=played.received,
    ).encode()


def files() -> dict[str, bytes]:
    """Every file of the season but the practice file, by its path in the directory."""
    rules = Rules(tomllib.loads((HERE / "practice.toml").read_text(encoding="utf-8")))
    there = staffed(rules)
    fridges = {m.name: season(m, LOGGED[0] - 720, LOGGED[1], there) for m in MAKES}
    every = bookings(rules)
    checks = hand_checks(rules, fridges)
    played = Season(rules, every, NOW)
    made = logger_files(fridges)
    made["hand_checks.csv"] = csv_text("at,fridge,celsius,min,max,by", ((iso(c[0]), *c[1:]) for c in checks))
    made["opening_stock.csv"] = csv_text(
        "product,lot,expiry,quantity,place", ((*row, PLACES.get(row[0], SHELF)) for row in OPENING)
    )
    made["season.csv"] = csv_text("at,by,command", ((iso(at), by, command) for at, by, command in played.rows))
    for text in EXPORTS:
        made[f"bookings_{text[:10]}.csv"] = export(every, text)
    made["README.md"] = page(every, fridges, len(checks), played)
    return made


def main(directory: Path) -> None:
    """Writes the files into a directory."""
    for name, content in files().items():
        path = directory / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
