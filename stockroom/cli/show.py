"""What goes on the screen: plain lines and tables, calm at 80 columns; the only place that knows Rich."""

from __future__ import annotations

import io
import os
import shutil
import sys
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from stockroom.cli.output import plain, put
from stockroom.core.address import without_password

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stockroom.core.records import Finding
    from stockroom.tasks.act import Recorded

LONG = 18
"""A column with longer cells is folded, so that none falls off a narrow screen."""


class Screen:
    """Collects what a command shows and prints it. Data never carries markup: everything is plain text."""

    def __init__(self) -> None:
        width = screen_width()
        self._drawn = io.StringIO()
        self._console = Console(
            file=self._drawn,
            force_terminal=bool(sys.stdout and sys.stdout.isatty()),
            width=max(60, width),
            highlight=False,
            markup=False,
            emoji=False,
            legacy_windows=False,
        )
        self._cautions: list[str] = []
        self.lines = 0
        """Lines that were printed so far."""

    def _print(self, what: Text | Table) -> None:
        """Prints without the spaces with which a table fills its last column."""
        self._console.print(what)
        drawn = self._drawn.getvalue().splitlines()
        self.lines += len(drawn)
        put("".join(f"{line.rstrip(' ')}\n" for line in drawn))
        self._drawn.seek(0)
        self._drawn.truncate()

    @property
    def width(self) -> int:
        """Columns that there are to write in."""
        return self._console.width

    def line(self, text: str = "", style: str = "") -> None:
        """One line, folded at words where it is too long."""
        self._print(Text(plain(text), style=style))

    def row(self, text: str, style: str = "") -> None:
        """One line that is already laid out; cut off, visibly, where the screen is too narrow for it."""
        cut = text if len(text) <= self.width else text[: self.width - 1] + "…"
        self._print(Text(plain(cut), style=style))

    def heading(self, text: str) -> None:
        """The beginning of a part."""
        self._print(Text(plain(text), style="bold"))

    def todo(self, text: str) -> None:
        """What to do next, with the command to type."""
        self._hanging("  -> ", text, "")

    def todos(self, texts: Sequence[str]) -> None:
        """Several things to do, in order."""
        for text in texts:
            self.todo(text)

    def alert(self, text: str) -> None:
        """Something that needs a person."""
        self._hanging("! ", text, "bold")

    def note(self, text: str) -> None:
        """Something to know."""
        self._hanging("  ", text, "")

    def step(self, number: int, text: str, *, urgent: bool = False) -> None:
        """One of several things to do in order."""
        self._hanging(f"{'! ' if urgent else '  '}{number}. ", text, "bold" if urgent else "")

    def caution(self, text: str) -> None:
        """A caution, shown once, at the end."""
        if text not in self._cautions:
            self._cautions.append(text)

    def finding(self, found: Finding) -> None:
        """A finding with what to do about it."""
        if found.slug == "caution":
            self.caution(found.what)
            return
        (self.alert if found.urgent else self.note)(found.what)
        self.todos(found.todos)

    def recorded(self, result: Recorded) -> None:
        """What was recorded, under which number, and what to know about it."""
        self._hanging(f"{result.entry}  ", result.what, "")
        for found in result.findings:
            self.finding(found)

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> None:
        """Columns under their heads, where they have any; ``right`` names the columns of numbers. The last column takes
        what is left.
        """
        grid = Table(
            box=None, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim", expand=False,
            show_header=any(head),
        )  # fmt: skip
        for i, name in enumerate(head):
            widest = max((len(row[i]) for row in rows), default=0)
            long = widest > LONG or i == len(head) - 1
            grid.add_column(Text(name), justify="right" if i in right else "left", no_wrap=not long, overflow="fold")
        for row in rows:
            grid.add_row(*(Text(plain(cell), style="bold" if cell.startswith("!") else "") for cell in row))
        self._print(grid)

    def raw(self, text: str) -> None:
        """Text that is already laid out, printed as it is."""
        self.lines += text.count("\n") + (not text.endswith("\n"))
        put(text if text.endswith("\n") else text + "\n")

    def close(self, where: str | None) -> None:
        """The cautions, then which database this is about."""
        for text in self._cautions:
            self._hanging("Caution: ", text, "")
        if where is not None:
            # The end of a long path tells databases apart; a whole line more would push the answer off the screen.
            text = f"[{without_password(where)}]"
            text = text if len(text) <= self.width else f"[…{text[2 - self.width :]}"
            self._print(Text(text, style="dim", overflow="fold"))

    def _hanging(self, lead: str, text: str, style: str) -> None:
        lines = Text(plain(text)).wrap(self._console, self.width - len(lead), overflow="fold")
        indent = " " * len(lead)
        told = "\n".join((indent if i else lead) + line.plain for i, line in enumerate(lines))
        self._print(Text(told or lead, style=style))


def screen_width() -> int:
    """Columns of the terminal that is written to, also through a pipe (less, more); 100 where there is none."""
    columns = shutil.get_terminal_size((0, 0)).columns
    if not columns:
        try:
            columns = os.get_terminal_size(sys.stderr.fileno()).columns
        except (AttributeError, OSError, ValueError):
            columns = 0
    return columns or 100


class Bar:
    """How far something long is, on the terminal's error side; nothing of it is left when it closes."""

    def __init__(self) -> None:
        from rich.progress import BarColumn, Progress, TextColumn

        columns = (TextColumn("{task.description}", markup=False), BarColumn(), TextColumn("{task.percentage:.0f} %"))
        self._progress = Progress(*columns, console=Console(stderr=True), transient=True)
        self._task = self._progress.add_task("", total=1)

    def show(self, what: str, done: int, of: int) -> None:
        """``done`` of ``of`` parts of what is going on now."""
        self._progress.update(self._task, description=plain(what), completed=done, total=max(of, 1))
        self._progress.start()

    def close(self) -> None:
        """Takes it off the screen."""
        self._progress.stop()
