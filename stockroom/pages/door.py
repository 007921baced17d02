"""The sheet for the fridge door and the labels for kits that are out, as HTML files that print on A4.

No patient's code stands on either: the booking's own number is enough where other people pass by.
"""

import math
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
PAGE_MM, HEAD_MM, FOOT_LINE_MM, FOOT_LETTERS = 270, 15, 4.0, 105
"""Height of the door sheet between its margins, of its head, of a line of its foot, and letters on such a line."""
TALLEST_MM, LOWEST_MM = 9.0, 5.0
WIDE_MM, OUT_MM, INITIALS_MM = 190, 11, 16
SIZES = (10.0, 9.0, 8.0, 7.0, 6.5)
"""Sizes of letters in points, the largest first that leaves the sheet on one page."""
READABLE = 8
COLUMNS = ("time", "fridge", "product", "lot", "expiry", "booking")
FOLDED = (1, 2, 3)
"""Columns whose words may take a second line."""
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
    cautions = [*CAUTIONS, *map(shown, door.words)] if rows else []
    # The rows share what heads and cautions leave, so that all of it stays on one page.
    lines = sum(-(-len(text) // FOOT_LETTERS) for text in cautions) + 3
    room = PAGE_MM - HEAD_MM - lines * FOOT_LINE_MM
    return rendered(
        "door.html",
        title=f"To take out on {day_text(door.day)}",
        practice=shown(door.practice),
        as_of=local_text(door.as_of, zone),
        rows=rows,
        cautions=cautions,
        columns=COLUMNS,
        **_layout(rows, room),
    )


def _layout(rows: Sequence[tuple[str, ...]], room: float) -> dict[str, Any]:
    """Size of the letters in points, widths of the columns and height of a row in mm: the largest that fits on a page.

    Letters are taken to be 0.22 mm wide and lines 0.43 mm high for each point, which is a little more than they are.
    """
    made: dict[str, Any] = {}
    for size in SIZES:
        letter, columns = 0.22 * size, range(len(COLUMNS))
        least = [len(name) * letter + 3 for name in COLUMNS]
        wanted = [max(least[i], *(len(r[i]) * letter + 3 for r in rows), 0) for i in columns]
        fixed = sum(least[i] if i in FOLDED else wanted[i] for i in columns)
        more = sum(wanted[i] - least[i] for i in FOLDED)
        share = max(0.0, min(1.0, (WIDE_MM - OUT_MM - INITIALS_MM - fixed) / more)) if more else 1.0
        widths = [least[i] + (wanted[i] - least[i]) * share if i in FOLDED else wanted[i] for i in columns]
        # Where words are folded some room stays empty, for a word that does not fit takes the next line.
        lines = math.ceil(
            max(w / width for w, width in zip(wanted, widths, strict=True)) * (1.0 if share == 1 else 1.15)
        )
        needed = max(LOWEST_MM, lines * 0.43 * size + 0.8)
        height = max(needed, min(TALLEST_MM, room / max(1, len(rows))))
        this = {"size": size, "height": round(height, 2), "widths": [*(round(w, 1) for w in widths), OUT_MM]}
        if needed * len(rows) <= room:
            return this
        made = this if size >= READABLE else made  # where nothing fits, letters need not be that small
    return made


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
