"""stockroom demo: a made-up practice in a fresh database, its season played in, then a day walked through."""

import contextlib
import io
import os
import shlex
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated

import typer

from stockroom.cli.job import setting
from stockroom.cli.output import put
from stockroom.errors import Refused

NOW = "2026-04-14T08:40:00+01:00"
"""The morning on which the walk begins."""


def register(app: typer.Typer) -> None:
    """Adds the command."""
    app.command("demo")(demo)


def demo(
    ctx: typer.Context,
    directory: Annotated[
        str, typer.Argument(metavar="[DIR]", help="Where to make it; stockroom-demo by default.")
    ] = "stockroom-demo",
) -> None:
    """A made-up practice: its season, then a day.

    Made in DIR; the walk goes through the whole job, and says what to type next.
    """
    job = setting(ctx)
    place = Path(directory)
    database = place / "stockroom.db"
    if database.exists():
        raise Refused("database-exists", f"{database} is there already", "name another directory: stockroom demo DIR")
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise Refused("cannot-write", f"{directory}: {fault.strerror}", "name another directory") from None
    from importlib import resources

    with resources.as_file(sample()) as folder, elsewhere(folder, database.absolute()):
        season(folder, database)
        walk(folder, database)
    sys.stdout.write(ENDING.format(db=shlex.quote(str(database)), now=NOW))
    job.exit_code = 0


def sample() -> Path:
    """The folder of the made-up practice: inside the installed package, or beside it in a checkout."""
    from importlib import resources

    inside = Path(str(resources.files("stockroom"))) / "_sample_data"
    return inside if inside.is_dir() else Path(str(resources.files("stockroom"))).parent / "sample_data"


@contextlib.contextmanager
def elsewhere(folder: Path, database: Path) -> Iterator[None]:
    """Runs with the demo's database, and without anybody's own settings."""
    kept = {k: os.environ.pop(k, None) for k in ("STOCKROOM_DB", "STOCKROOM_BY", "STOCKROOM_SITE")}
    os.environ["STOCKROOM_DB"] = str(database)
    try:
        yield
    finally:
        os.environ.pop("STOCKROOM_DB", None)
        os.environ.update({k: v for k, v in kept.items() if v is not None})


def play(folder: Path, command: str, at: str | None, by: str | None) -> tuple[int, str, str]:
    """(exit code, standard output, complaints) of one command line of the season."""
    from stockroom.cli.main import main

    words = shlex.split(command)
    args = [str(folder / a) if a.endswith((".csv", ".toml", ".ics")) and (folder / a).is_file() else a for a in words]
    if at is not None:
        args += ["--at", at]
    if by is not None:
        args += ["--by", by]
    # What is heard has the screen's encoding, so that a chart is drawn with what the screen can show.
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    heard, err = io.BytesIO(), io.StringIO()
    out = io.TextIOWrapper(heard, encoding=encoding, errors="replace", newline="\n")
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(args)
    out.flush()
    return code, heard.getvalue().decode(encoding), err.getvalue()


def season(folder: Path, database: Path) -> None:
    """Plays the season in, event by event, and says how much it was."""
    events = [(r["at"], r["by"], r["command"]) for r in _rows(folder / "season.csv")]
    checks = [
        (
            r["at"],
            r["by"],
            f"fridge log {r['celsius']} --min {r['min']} --max {r['max']} --fridge {shlex.quote(r['fridge'])}",
        )
        for r in _rows(folder / "hand_checks.csv")
    ]
    first = "2026-01-15T08:30:00+00:00"
    _must(*play(folder, "init practice.toml", first, "KE"), "init practice.toml")
    from stockroom.store.engine import opened

    # A connection that stays open spares SQLite from tidying up after each of some four hundred commands.
    with opened(str(database)).reading():
        for at, by, command in sorted([*events, *checks], key=lambda e: _instant(e[0])):
            _must(*play(folder, command, at, by), command)
    sys.stdout.write(
        f"A made-up practice, its season played in: {len(checks)} checks by hand and {len(events)} other entries.\n"
    )


def _must(code: int, out: str, err: str, command: str) -> None:
    if code > 1:
        raise RuntimeError(f"the season stops at: {command}: {err or out}")


def _instant(text: str) -> float:
    from datetime import datetime

    return datetime.fromisoformat(text).timestamp()


def _rows(path: Path) -> list[dict[str, str]]:
    import csv

    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


Step = tuple[str, str, str, str | None]
"""(what it shows, the command, the time of that day, who records; None for a look)."""

WALK: Sequence[Step] = (
    ("The day begins with the day sheet.", "today", "08:40", None),
    (
        "Each fridge is checked by hand: now, min and max.",
        "fridge log 4.3 --min 3.6 --max 4.9 --fridge 'Surgery fridge'",
        "08:45",
        "MO",
    ),
    ("", "fridge log 3.8 --min 3.4 --max 4.6 --fridge 'Store fridge'", "08:47", "MO"),
    (
        "A logger file a second time adds nothing.",
        "fridge import logger/surgery_2026-04.csv --fridge 'Surgery fridge'",
        "08:50",
        "MO",
    ),
    (
        "A visiting clinician's calendar: a series, one of it moved; a day without a time is reported, not guessed.",
        "booking import visiting.ics",
        "08:55",
        "RT",
    ),
    ("What happened in the fridges, and what to do about it.", "fridge check --since 2026-04-01", "09:00", None),
    ("The same to look at.", "fridge chart --days 4 --fridge 'Store fridge'", "09:05", None),
    (
        "The maker has answered: a named person decides.",
        "fridge decide E-8 --release --why 'within the maker’s answer' --answer 'letter of today'",
        "10:10",
        "KE",
    ),
    ("Which kit for which booking, and when to take it out.", "warmup check --days 4", "10:15", None),
    ("The sheet for the fridge door: to print, and to tick off.", "warmup list --out DIR/door.html", "10:16", None),
    (
        "The same moments as reminders for any calendar program, without a patient's code.",
        "warmup calendar --out DIR/take-outs.ics",
        "10:17",
        None,
    ),
    ("A kit leaves the fridge.", "warmup pull B-83", "10:20", "MO"),
    ("Labels for the kits that are out.", "warmup labels --out DIR/labels.html", "10:25", None),
    ("What is over and not written down yet, with the line to type.", "booking done", "12:39", "SV"),
    (
        "Its kit's label is scanned: what the booking used goes by itself, by lot.",
        "booking done P-66.7G952 --used SWB=1",
        "12:40",
        "SV",
    ),
    ("What is on hand, earliest expiry first.", "stock list --product ARCH", "13:00", None),
    ("What to order this week, and why.", "reorder list", "13:05", None),
    ("The whole sum of one of them, and how its stock will go.", "reorder explain TOOTH", "13:06", None),
    ("How good the forecasts behind it were.", "reorder accuracy TOOTH", "13:06", None),
    (
        "What other service targets would cost, played over the practice's own weeks.",
        "reorder rehearse SWB",
        "13:07",
        None,
    ),
    ("The order on a page for the supplier.", "reorder sheet 'Oxbarrow Dry Goods' --out DIR/order.html", "13:08", None),
    ("Where a lot went, and what it went through.", "trace lot ARCH 7J077", "13:10", None),
    (
        "The month's log to print, a page for each fridge.",
        "fridge sheet --month 2026-03 --out DIR/sheet.html",
        "13:15",
        None,
    ),
    (
        "A box is scanned instead of typed: three kits, their lot and their expiry stand in its barcode.",
        "stock receive --scan ']d201120000411800251727022610T5711' --into 'Store fridge' --arrived-at 4.4",
        "13:20",
        "MO",
    ),
    (
        "A barcode that nobody has met yet is tied to its product, once.",
        "stock code '+Q417BARR101/$$3271031B1047D' BARRIER --units 10",
        "13:24",
        "MO",
    ),
    (
        "Half of an order that is late.",
        "stock receive --scan '+Q417BARR101/$$3271031B1047D' --order O-2 --into 'Dry cupboard'",
        "13:25",
        "MO",
    ),
    (
        "A maker's notice names a lot: where each piece of it is or went, on a sheet that answers the notice.",
        "recall ARCH 7J077 --notice 'letter of today' --out DIR/recall.html",
        "13:30",
        None,
    ),
    ("Nothing on record was altered since it was written.", "records verify", "13:31", None),
)

ENDING = """
That was the demo. Nothing in it is real. To go on with it, type (the dates are the demo's own):

  stockroom --db {db} today --as-of {now}
  stockroom --db {db} warmup when both-arches --as-of {now}
  stockroom --db {db} fridge check --as-of {now}

For your own practice: stockroom init PRACTICE.toml
"""


def walk(folder: Path, database: Path) -> None:
    """Shows one day, command by command, as it looks on the screen."""
    for title, written, clock, by in WALK:
        words = ((database.parent / w[4:]).as_posix() if w.startswith("DIR/") else w for w in shlex.split(written))
        command = shlex.join(words) if "DIR/" in written else written
        at = f"{NOW[:11]}{clock}:00{NOW[19:]}"
        if title:
            put(f"\n-- {clock}  {title}\n")
        put(f"$ stockroom {command}" + ("" if by is None else f" --by {by}") + "\n")
        said = play(folder, command, at, by) if by else play(folder, f"{command} --as-of {at}", None, None)
        _must(*said, command)
        put(said[1].replace(f"[{database.absolute()}]\n", "") + said[2])
