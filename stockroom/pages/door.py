"""The sheet for the fridge door and the labels for kits that are out, as HTML files that print on A4.

No patient's code stands on either: the booking's own number is enough where other people pass by.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from stockroom.core.when import day_text, local_text
from stockroom.errors import Refused
from stockroom.pages.paper import rendered
from stockroom.pages.values import instant, shown
from stockroom.tasks.act import CAUTIONS
from stockroom.tasks.door_list import DoorList, Label, ToTake

A4_MM = (210, 297)
ROWS_MM = 205
"""Height that the rows of the door sheet may take, so that heads, cautions and signatures stay on the same page."""
TALLEST_MM, LOWEST_MM = 9.0, 5.0
WORDS = 120
"""Signs of a product's own cautions for which a label has room; longer ones are read from the box."""
ONLY_TIME = "Only time is known, not how warm it is."


def take_out_time(one: ToTake, zone: ZoneInfo) -> str:
    """``by 16:00``, or ``10:45–16:00`` where it may not leave the fridge earlier on that day."""
    row = one.row
    if row.take_out_staffed_by is None:
        return ""
    last = datetime.fromtimestamp(row.take_out_staffed_by, zone)
    first = None if row.take_out_from is None else datetime.fromtimestamp(row.take_out_from, zone)
    if first is not None and first.date() == last.date() and first < last:
        return f"{first:%H:%M}–{last:%H:%M}"
    return f"by {last:%H:%M}"


def door_html(door: DoorList, zone: ZoneInfo) -> str:
    """The sheet for the fridge door: one A4 page for up to some forty kits."""
    rows = [
        (
            take_out_time(t, zone), shown(t.row.place or ""), shown(t.row.product), shown(t.row.lot or ""),
            "" if t.expiry is None else t.expiry.isoformat(), f"B-{t.row.booking}",
        )
        for t in door.take
    ]  # fmt: skip
    return rendered(
        "door.html",
        title=f"To take out on {day_text(door.day)}",
        practice=shown(door.practice),
        as_of=local_text(door.as_of, zone),
        rows=rows,
        height=round(max(LOWEST_MM, min(TALLEST_MM, ROWS_MM / max(1, len(rows)))), 2),
        size=10 if len(rows) <= 22 else 8,
        cautions=[*CAUTIONS, *map(shown, door.words)],
    )


@dataclass(frozen=True, slots=True)
class Grid:
    """How many labels an A4 sheet has, and how many of its first have been used already."""

    columns: int = 3
    rows: int = 8
    skip: int = 0

    def checked(self) -> "Grid":
        """Itself. Raises: Refused where a label would be too small to read, or the sheet is used up."""
        if not (1 <= self.columns <= 3 and 1 <= self.rows <= 9):
            raise Refused(
                "bad-grid",
                f"{self.columns} by {self.rows} labels do not fit on a page",
                "give --columns 1 to 3 and --rows 1 to 9",
            )
        if not 0 <= self.skip < self.columns * self.rows:
            raise Refused("bad-grid", f"a sheet has no label after {self.skip}", "take a new sheet: --skip 0")
        return self

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of one label in mm: the page divided evenly, without a margin."""
        return round(A4_MM[0] / self.columns, 1), round(A4_MM[1] / self.rows - 0.05, 1)


def labels_html(labels: Sequence[Label], grid: Grid, zone: ZoneInfo, as_of: int) -> str:
    """A sheet of labels, each with a square code that a hand scanner types."""
    cells: list[dict[str, Any] | None] = [None] * grid.skip
    cells += [_label(x, zone, as_of) for x in labels]
    each = grid.columns * grid.rows
    width, height = grid.size
    code = round(min(22.0, height - 13), 1)
    return rendered(
        "labels.html",
        pages=[cells[i : i + each] for i in range(0, len(cells), each)],
        width=width, height=height, columns=grid.columns, code=code, only_time=ONLY_TIME,
    )  # fmt: skip


def _label(x: Label, zone: ZoneInfo, as_of: int) -> dict[str, Any]:
    import segno

    words = " ".join(map(shown, x.words))
    booking = "no booking" if x.pull.booking is None else f"B-{x.pull.booking}"
    return {
        "booking": booking,
        "number": x.pull.place,
        "product": shown(x.pull.product),
        "lot": shown(x.lot),
        "expiry": "not known" if x.expiry is None else x.expiry.isoformat(),
        "ready": local_text(x.ready_at, zone, as_of),
        "use_by": "ask the maker" if x.use_by is None else local_text(x.use_by, zone, as_of),
        "held": x.held,
        "words": words if len(words) <= WORDS else "Read the cautions on the box.",
        "mark": x.mark,
        # Drawn by segno as one path; the quiet zone of four modules around it is part of the code.
        "svg": segno.make(x.mark, micro=False, error="m").svg_inline(omitsize=True, border=4),
    }


def door_answer(door: DoorList, rows: Sequence[dict[str, Any]], file: str | None) -> dict[str, Any]:
    """``warmup list``; ``rows``: the plan's rows as JSON, beside ``take``."""
    return {
        "as_of": instant(door.as_of),
        "day": door.day.isoformat(),
        "file": file,
        "take_out": [
            {
                "by": instant(t.row.take_out_staffed_by),
                **row,
                "expiry": None if t.expiry is None else t.expiry.isoformat(),
            }
            for t, row in zip(door.take, rows, strict=True)
        ],
        "cautions": [*CAUTIONS, *door.words] if door.take else [],
    }


def labels_answer(labels: Sequence[Label], grid: Grid, as_of: int, file: str) -> dict[str, Any]:
    """``warmup labels``."""
    return {
        "as_of": instant(as_of),
        "file": file,
        "width_mm": grid.size[0],
        "height_mm": grid.size[1],
        "labels": [
            {
                "pull": x.pull.place,
                "code": x.mark,
                "booking": None if x.pull.booking is None else f"B-{x.pull.booking}",
                "product": x.pull.product,
                "lot": x.lot,
                "expiry": None if x.expiry is None else x.expiry.isoformat(),
                "ready_at": instant(x.ready_at),
                "use_by": instant(x.use_by),
                "held": x.held,
            }
            for x in labels
        ],
    }
