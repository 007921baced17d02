"""What one command line asks for: the database, who, when, and how to answer; and the three kinds of command.

``records``, ``looks`` and ``tends`` turn a plain function into a command with the options that every command of its kind
has.
"""

import inspect
import os
import re
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stockroom.cli.output import plain, put
from stockroom.errors import Refused, UsageError

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from stockroom.cli.show import Bar, Screen
    from stockroom.store.engine import Store
    from stockroom.tasks.act import Act, Recorded
    from stockroom.tasks.rules import Rules


@dataclass(slots=True)
class Answer:
    """What a command answers: the JSON document, whether something needs attention, and how to draw it."""

    data: dict[str, Any]
    attention: bool
    draw: "Callable[[Screen], None]"
    quiet: bool = False
    """True where the drawing names the database itself, or names none."""


@dataclass(slots=True)
class Job:
    """One run of one command."""

    now: int
    where: str
    site: str | None = None
    by: str | None = None
    by_typed: bool = False
    at_text: str | None = None
    as_of_text: str | None = None
    json: bool = False
    exit_code: int = 0
    began: float = field(default_factory=time.monotonic)
    _bar: "Bar | None" = field(default=None)
    _store: "Store | None" = field(default=None)
    _rules: "Rules | None" = field(default=None)
    _warned: bool = field(default=False)

    def store(self) -> "Store":
        """The database, opened once. Raises: DatabaseError."""
        if self._store is None:
            from stockroom.store.engine import opened

            self.warn_of_network_drive()
            self._store = opened(self.where)
        return self._store

    def warn_of_network_drive(self) -> None:
        """Says once, on the error side, where the database is a file that another computer keeps."""
        if "://" in self.where or self._warned:
            return
        from stockroom.store.network_drive import network_drive

        self._warned = True
        kind = network_drive(Path(self.where))
        if kind is not None:
            sys.stderr.write(
                f"stockroom: {plain(self.where)} lies on a network drive ({kind}): two computers that use it damage it\n"
                "  -> keep it on this computer; for several of them use a server: docs/computers.md\n"
            )

    def rules(self) -> "Rules":
        """The rules in force now."""
        from stockroom.tasks.rules import rules

        if self._rules is None:
            with self.store().reading() as conn:
                self._rules = rules(conn, self.now)
        return self._rules

    def zone(self) -> "ZoneInfo":
        """The practice's own time zone."""
        return self.rules().zone

    def instant(self, text: str) -> int:
        """A moment that a person typed, in the practice's own time. Raises: Refused."""
        from stockroom.core.when import instant

        return instant(text, self.zone(), self.now)

    def as_of(self) -> int:
        """The instant that a look is about: now unless told otherwise (a bare day: its end)."""
        from stockroom.core.when import instant

        if self.as_of_text is None:
            return self.now
        return instant(self.as_of_text, self.zone(), self.now, end_of_day=True)

    @property
    def at_terminal(self) -> bool:
        """True where a person sits at a terminal and can be asked."""
        there = (sys.stdin, sys.stderr)
        return all(s is not None and not s.closed and s.isatty() for s in there) and not self.json

    def ask(self, question: str) -> bool:
        """A yes-or-no question, answered by a person; no is the default."""
        self.quiet()
        sys.stderr.write(f"{question} [y/N] ")
        sys.stderr.flush()
        return sys.stdin.readline().strip().casefold() in ("y", "yes")

    def asked(self, question: str) -> str:
        """A line that a person types."""
        sys.stderr.write(f"{question} ")
        sys.stderr.flush()
        return sys.stdin.readline().strip()

    def advance(self, what: str, done: int, of: int) -> None:
        """Shows how far something long is, once a command has taken a second, to a person at a terminal."""
        if self._bar is None:
            there = sys.stderr is not None and not sys.stderr.closed and sys.stderr.isatty()
            if not there or time.monotonic() - self.began < 1:
                return
            from stockroom.cli.show import Bar

            self._bar = Bar()
        self._bar.show(what, done, of)

    def quiet(self) -> None:
        """Takes the bar away."""
        if self._bar is not None:
            self._bar.close()
            self._bar = None

    def close(self) -> None:
        """Takes the bar away and closes the database."""
        self.quiet()
        engine = sys.modules.get("stockroom.store.engine")
        if engine is not None:
            engine.closed(self.where)

    def act(self) -> "Act":
        """Who records, and when it happened. Raises: Refused where nobody says who."""
        from stockroom.core.when import instant
        from stockroom.tasks.act import Act

        by = self.signed()
        at = self.now
        if self.at_text is not None:
            at = instant(self.at_text, self.zone(), self.now, past=True)
        return Act(
            by,
            at,
            self.now,
            self.site,
            self.at_text is not None,
            self.by_typed,
            self.ask if self.at_terminal else None,
            self.advance,
        )

    def signed(self) -> str:
        """The initials of whoever records. Raises: Refused where they are missing or look like a name."""
        by = self.by
        if by is None and self.at_terminal:
            by, self.by_typed = self.asked("Your initials?"), True
        if not by:
            raise Refused("who", "nobody says who records this", "add --by INITIALS, or set STOCKROOM_BY")
        by = by.strip()
        if not re.fullmatch(r"[^\W_]{1,5}", by):
            raise Refused("bad-initials", f'"{by}" are not initials', "type one to five letters or digits, no name")
        return by


def setting(ctx: typer.Context) -> Job:
    """The job that main made for this command line."""
    job = ctx.obj
    assert isinstance(job, Job)
    return job


By = Annotated[
    str | None,
    typer.Option(
        "--by", metavar="INITIALS", help="Initials of whoever records this (or STOCKROOM_BY).", rich_help_panel=None
    ),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at", metavar="WHEN", help="When it happened: 09:10, yesterday 17:00, 2026-03-02T09:10. Default: now."
    ),
]
AsOf = Annotated[str | None, typer.Option("--as-of", metavar="WHEN", help="Answer as if it were then. Default: now.")]
Json = Annotated[bool, typer.Option("--json", help="Answer with one JSON document.")]

COMMON = {
    "records": (("by", By, None), ("at", At, None), ("json_out", Json, False)),
    "looks": (("as_of", AsOf, None), ("json_out", Json, False)),
    "tends": (("json_out", Json, False),),
}


def _command(
    kind: str, app: typer.Typer, name: str, **kwargs: Any
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Registers ``fn(job, …)`` as a command with the options that every command of its kind has."""

    def wrap(fn: Callable[..., Any]) -> Callable[..., Any]:
        own = list(inspect.signature(fn).parameters.values())[1:]
        common = COMMON[kind]

        def command(ctx: typer.Context, **given: Any) -> None:
            job = setting(ctx)
            given = {name: _as_typed(value) for name, value in given.items()}
            _take(job, kind, given)
            _sound(given)
            if kind == "looks" and job.site is not None:
                job.rules().site(job.site)
            answer = fn(job, **given)
            if answer is not None:
                finish(job, answer)
            if kind == "records" and job._store is not None:
                from stockroom.tasks.page_due import brought_forward

                brought_forward(job._store)
                _daily_copy(job)

        parameters = [inspect.Parameter("ctx", inspect.Parameter.KEYWORD_ONLY, annotation=typer.Context)]
        parameters += [p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in own]
        parameters += [
            inspect.Parameter(n, inspect.Parameter.KEYWORD_ONLY, default=d, annotation=a) for n, a, d in common
        ]
        command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
        command.__annotations__ = {p.name: p.annotation for p in parameters}
        command.__doc__ = fn.__doc__
        command.__name__ = fn.__name__
        app.command(name, **kwargs)(command)
        return fn

    return wrap


def _daily_copy(job: Job) -> None:
    """One copy a day, unasked, once something was recorded. What goes wrong with it is said, and undoes nothing."""
    from datetime import datetime

    from stockroom.tasks.daily_copy import daily

    if job._store is None or job._store.path is None:
        return
    wrong = daily(job.where, datetime.fromtimestamp(job.now, job.zone()).date())
    if wrong is not None:
        sys.stderr.write(f"stockroom: today's copy of the database could not be made: {plain(wrong)}\n")


def _as_typed(value: Any) -> Any:
    """Takes back the mark that main put before a number, so that a lot such as -12 stays as it was typed."""
    if isinstance(value, list):
        return [_as_typed(v) for v in value]
    return "-" + value[1:] if isinstance(value, str) and re.match(r"−[0-9]", value) else value


def _sound(given: dict[str, Any]) -> None:
    """Raises: Refused for a reason or a place that is empty, UsageError for what is no text at all."""
    for name, value in given.items():
        for text in value if isinstance(value, list) else [value]:
            if isinstance(text, str) and any("\ud800" <= c <= "\udfff" for c in text):
                raise UsageError(
                    "bad-text", "that is not text in the terminal's encoding", "type it again, or in plain letters"
                )
        if name in ("why", "target", "source", "into", "place") and isinstance(value, str) and not value.strip():
            if name == "why" and value == "" and given.get("day") is not None:
                continue
            raise Refused(
                "empty", f"--{name.replace('target', 'to').replace('source', 'from')} is empty", "say it in a few words"
            )


def _take(job: Job, kind: str, given: dict[str, Any]) -> None:
    job.json = bool(given.pop("json_out"))
    if kind == "looks":
        job.as_of_text = given.pop("as_of")
    if kind != "records":
        return
    by, job.at_text = given.pop("by"), given.pop("at")
    job.by_typed = by is not None
    job.by = by if by is not None else os.environ.get("STOCKROOM_BY") or None


def records(app: typer.Typer, name: str, **kwargs: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """A command that records something: gets --by, --at and --json."""
    return _command("records", app, name, **kwargs)


def looks(app: typer.Typer, name: str, **kwargs: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """A command that only looks: gets --as-of and --json."""
    return _command("looks", app, name, **kwargs)


def tends(app: typer.Typer, name: str, **kwargs: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """A command about the database itself, as a whole: gets --json."""
    return _command("tends", app, name, **kwargs)


def finish(job: Job, answer: Answer) -> None:
    """Prints an answer as it was asked for, and sets the exit code."""
    job.quiet()
    if not answer.quiet or job._store is not None:
        job.warn_of_network_drive()
    if job.json:
        import json

        narrow = "utf" not in (getattr(sys.stdout, "encoding", None) or "utf-8").lower()
        put(json.dumps(answer.data, ensure_ascii=narrow, indent=2) + "\n")
    else:
        from stockroom.cli.show import Screen

        screen = Screen()
        answer.draw(screen)
        screen.close(None if answer.quiet else job.where)
    job.exit_code = 1 if answer.attention else 0


def recorded(result: "Recorded", draw: "Callable[[Screen], None] | None" = None, *, quiet: bool = False) -> Answer:
    """The answer of a command that recorded something; ``quiet`` where the drawing names the database itself."""
    from stockroom.pages.values import recorded_answer

    def default(screen: "Screen") -> None:
        screen.recorded(result)
        if draw is not None:
            draw(screen)

    return Answer(recorded_answer(result), result.attention, default, quiet=quiet)


def far(days: int | None) -> None:
    """Raises: Refused for a number of days that nobody can mean."""
    if days is not None and not 0 <= days <= 3660:
        raise Refused("bad-days", f"{days} days cannot be looked at", "give 0 to 3660")
