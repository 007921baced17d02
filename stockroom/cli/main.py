"""The command line's one entry, one error door and one clock."""

import gc
import os
import re
import sys
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path

import typer

from stockroom.cli import booking, demo, fridge, practice, recall, records, reorder, setup, stock, trace, warmup
from stockroom.cli.job import Job
from stockroom.cli.output import plain
from stockroom.core.address import without_password
from stockroom.errors import DEFECT, INTERRUPTED, USAGE, StockroomError, Unsaid

app = typer.Typer(
    name="stockroom",
    help="Cold procedure kits in a practice: fridge log, warm-up times, bookings, orders, lots that can be followed.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    epilog="Begin with: stockroom demo   or: stockroom init PRACTICE.toml",
)
for part in (setup, practice, fridge, stock, booking, warmup, reorder, trace, recall, records, demo):
    part.register(app)


@app.callback()
def everywhere(
    db: str = typer.Option("", "--db", metavar="PATH_OR_URL", help="The database (or STOCKROOM_DB)."),
    site: str = typer.Option("", "--site", metavar="NAME", help="One site of a group (or STOCKROOM_SITE)."),
) -> None:
    """Options that go anywhere on the line."""


def run() -> None:
    """The console entry."""
    collect_seldom()
    sys.exit(main(sys.argv[1:]))


def collect_seldom() -> None:
    """Lets the garbage collector look less often: a process is one command, whose many small values live to its end.

    With ten thousand bookings a quarter of the time of a plan (0.241 s, 0.181 s without) went into looking at them again and again.
    """
    gc.set_threshold(50_000, 20, 50)


def main(argv: list[str]) -> int:
    """Runs one command line; returns its exit code (0, 1, 2, 3, 4, 70 or 130)."""
    job = Job(int(time.time()), "")
    try:
        args = prepared(argv, job)
        try:
            left = _command()(args, obj=job, standalone_mode=False, prog_name="stockroom")
        finally:
            job.close()
        if left == INTERRUPTED:  # what the library makes of Ctrl-C
            raise KeyboardInterrupt
        return left if isinstance(left, int) else job.exit_code
    except StockroomError as fault:
        if isinstance(fault, Unsaid):
            _hushed()
        _complain(fault.what, fault.todo)
        return fault.exit_code
    except (typer.Abort, KeyboardInterrupt):
        sys.stderr.write("\ninterrupted; nothing half-written\n")
        return INTERRUPTED
    except BrokenPipeError:
        _hushed()  # the reader of a pipe has gone: nothing is left to say
        return job.exit_code
    except Exception as fault:  # noqa: BLE001 - the one error door
        if hasattr(fault, "format_message") and hasattr(fault, "exit_code"):
            return _misused(fault)
        return _defect(fault)


@cache
def _command() -> Callable[..., object]:
    """The commands built once: a run that plays many lines does not build them for each."""
    return typer.main.get_command(app)


def prepared(argv: list[str], job: Job) -> list[str]:
    """Takes --db and --site from wherever they stand, and marks negative numbers so that none is read as an option."""
    args: list[str] = []
    found = {"--db": os.environ.get("STOCKROOM_DB", ""), "--site": os.environ.get("STOCKROOM_SITE", "")}
    rest = list(argv)
    while rest:
        arg = rest.pop(0)
        if arg == "--":
            args += [arg, *rest]
            break
        name, sign, value = arg.partition("=")
        if name in found and (sign or rest):
            found[name] = value if sign else rest.pop(0)
        else:
            args.append("−" + arg[1:] if re.fullmatch(r"-\d[\d.,]*", arg) else arg)
    job.where = found["--db"] or str(default_database())
    job.site = found["--site"] or None
    return args


def default_database() -> Path:
    """stockroom.db in the user's data directory."""
    from platformdirs import user_data_path

    return user_data_path("stockroom", appauthor=False) / "stockroom.db"


def _hushed() -> None:
    """What could not be written stays unsaid: Python must not try again at its exit, and fail with a code of its own."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (AttributeError, OSError, ValueError):
        return  # there is no standard output


def _complain(what: str, todo: str) -> None:
    """Says it on the error side; what a file name or an argument carries never steers the terminal."""
    lines = [plain(line) for line in without_password(what).splitlines()] or [""]
    sys.stderr.write("\n".join([f"stockroom: {lines[0]}", *(f"  {x}" for x in lines[1:])]) + "\n")
    if todo:
        sys.stderr.write(f"  -> {plain(without_password(todo))}\n")


def _misused(fault: Exception) -> int:
    text = str(fault.format_message())  # type: ignore[attr-defined]
    context = getattr(fault, "ctx", None)
    if context is not None and not text:
        sys.stdout.write(context.get_help() + "\n")
        return USAGE
    path = context.command_path if context is not None else "stockroom"
    _complain(text.rstrip("."), f"see: {path} --help")
    return USAGE


def _defect(fault: Exception) -> int:
    import platform
    import traceback

    from stockroom import __version__

    sys.stderr.write(without_password("".join(traceback.format_exception(fault))))
    sys.stderr.write(
        f"\nstockroom {__version__}, Python {platform.python_version()}, {platform.platform()}\n"
        "This is a defect in the program. What is on record is safe; whether this step is, records history tells.\n"
        "Keep the text above and hand it to whoever looks after the program.\n"
    )
    return DEFECT
