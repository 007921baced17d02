"""The month sheet of fridges as one HTML file that prints on A4: no script, nothing from outside, everything escaped."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from stockroom.core.units import degrees
from stockroom.core.when import day_text, local_text
from stockroom.pages.paper import rendered
from stockroom.pages.values import instant, shown
from stockroom.tasks.act import CAUTIONS
from stockroom.tasks.excursions_now import ExcursionNow
from stockroom.tasks.month_sheet import MonthSheet
from stockroom.tasks.sheet_days import FridgeSheet, LoggerDay, Marked, SheetDay

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
SIDES = {1: "▲ ", 0: "", -1: "▼ "}
VERDICTS = {"release": "released", "discard": "discarded"}
HABITS = {
    "minmax": "one a day at opening, with min and max",
    "twice": "two a day, at opening and at closing",
    "logger": "by logger",
}
Cell = tuple[str, bool]
"""A text, and whether it stands out."""


@dataclass(frozen=True, slots=True)
class Slot:
    """One check in a line of a day, or a ``text`` in its place."""

    text: str | None = None
    bad: bool = False
    clock: str = ""
    values: tuple[Cell, ...] = (("", False),) * 3
    by: str = ""
    span: int = 5
    """Columns of a text."""


def sheet_html(sheet: MonthSheet) -> str:
    """The file's text."""
    month = month_text(sheet)
    names = ", ".join(s.fridge.name for s in sheet.sheets)
    return rendered(
        "sheet.html",
        title=shown(f"{names}, {month}"),
        month=month,
        sheets=[_Page(sheet, s).view() for s in sheet.sheets],
        cautions=CAUTIONS,
    )


def month_text(sheet: MonthSheet) -> str:
    """``March 2026``."""
    return f"{MONTHS[sheet.month.month - 1]} {sheet.month.year}"


def sheet_answer(sheet: MonthSheet, file: str) -> dict[str, Any]:
    """``fridge sheet``."""
    return {
        "as_of": instant(sheet.as_of),
        "month": f"{sheet.month:%Y-%m}",
        "file": file,
        "fridges": [
            {
                "fridge": s.fridge.name,
                "checks": s.checks,
                "missed": s.missed,
                "excursions": [f"E-{e.number}" for e in s.excursions],
            }
            for s in sheet.sheets
        ],
    }


class _Page:
    """What the template needs of one fridge: texts, nothing to compute."""

    def __init__(self, sheet: MonthSheet, s: FridgeSheet) -> None:
        self.sheet, self.s, self.zone = sheet, s, sheet.zone

    def view(self) -> dict[str, Any]:
        """The page's texts."""
        s, sheet = self.s, self.sheet
        groups = ("At opening", "At closing") if s.kind == "twice" else ("Checks by hand",)
        return {
            "fridge": shown(s.fridge.name),
            "where": shown(", ".join(t for t in (sheet.practice, s.fridge.site) if t)),
            "facts": self._facts(),
            "groups": groups,
            "logger": s.has_logger,
            "columns": 2 + 5 * len(groups) + 3 * s.has_logger,
            "days": [self._day(d, len(groups)) for d in s.days],
            "excursions": [self._excursion(e) for e in s.excursions],
            "no_excursion": f"on record for this month as of {local_text(sheet.as_of, self.zone)}.",
        }

    def _facts(self) -> list[tuple[str, str, bool]]:
        f = self.s.fridge
        due = "not stated" if f.calibration_due is None else day_text(f.calibration_due)
        return [
            ("Limits", "; ".join(self._limit(*x) for x in self.s.limits), False),
            ("Checks", HABITS[self.s.kind], False),
            ("Probe", shown(f.probe_serial or "no serial stated"), False),
            ("Calibration due", due + (", OVERDUE" if self.s.calibration_overdue else ""), self.s.calibration_overdue),
            ("Times", self.sheet.zone_name, False),
            ("As of", local_text(self.sheet.as_of, self.zone), False),
        ]

    @staticmethod
    def _limit(since: Any, low: int, high: int) -> str:
        return ("" if since is None else f"from {day_text(since)} ") + f"{degrees(low)[:-3]} to {degrees(high)}"

    def _day(self, d: SheetDay, groups: int) -> dict[str, Any]:
        slots: list[list[Slot]] = [[] for _ in range(groups)]
        for made in d.checks:
            late = groups == 2 and d.middle is not None and made.check.at >= d.middle
            slots[late].append(self._slot(made))
        for check in d.missed:
            text = "missed, explained" if d.explained else "✗ MISSED"
            slots[groups - 1 if check == "closing" else 0].append(Slot(text, not d.explained))
        lines = [[g[i] if i < len(g) else Slot() for g in slots] for i in range(max(1, *map(len, slots)))]
        if d.closed is not None and d.known and not d.checks:
            lines = [[Slot(shown(f"closed: {d.closed}" if d.closed else "closed"), span=5 * groups)]]
        elif self._none_expected(d):
            lines = [[Slot("none expected yet", span=5 * groups)]]
        return {
            "label": day_text(d.day)[:-9],
            "closed": d.closed is not None,
            "lines": lines,
            "logger": self._logger(d.logger),
            "notes": shown("; ".join(self._notes(d))),
        }

    def _none_expected(self, d: SheetDay) -> bool:
        """True for a day that is over, on which a check was neither made nor missed: the fridge was not yet in use."""
        today = datetime.fromtimestamp(self.sheet.as_of, self.zone).date()
        idle = d.closed is None and not (d.checks or d.missed or d.explained or d.off)
        return idle and d.known and self.s.kind != "logger" and d.day < today

    def _slot(self, made: Marked) -> Slot:
        c = made.check
        values = [
            ("" if v is None else f"{SIDES[side]}{degrees(v)[:-3]}", side != 0)
            for v, side in zip((c.milli, c.low, c.high), made.beyond, strict=True)
        ]
        if c.doubtful:
            values[0] = (f"{values[0][0]} ?", True)
        return Slot(None, False, _clock(c.at, self.zone), tuple(values), shown(c.by))

    @staticmethod
    def _logger(day: LoggerDay | None) -> list[Cell]:
        if day is None:
            return [("", False)] * 3
        values = [
            ("–" if v is None else f"{SIDES[side]}{degrees(v)[:-3]}", side != 0)
            for v, side in zip((day.low, day.high), day.beyond, strict=True)
        ]
        minutes = round(day.unwatched / 60)
        return [*values, (f"{minutes} min" if minutes else "0", False)]

    def _notes(self, d: SheetDay) -> list[str]:
        found = [] if d.known else ["not in the practice file"]
        if d.closed is not None and d.checks:
            found.append(f"closed ({d.closed})" if d.closed else "closed")
        for start, end, why in d.off:
            found.append("OUT OF USE" + _part(start, end, self.zone) + (f": {why}" if why else ""))
        for made in d.checks:
            if made.check.note:
                lead = f"{_clock(made.check.at, self.zone)} " if len(d.checks) > 1 else ""
                found.append(lead + made.check.note)
        if d.explained:
            found.append(f"{d.explained.by} explains: {d.explained.why}")
        began = [
            f"E-{e.number}"
            for e in self.s.excursions
            if datetime.fromtimestamp(e.anchor_at if e.event is None else e.event.start, self.zone).date() == d.day
        ]
        if began:
            found.append("see " + ", ".join(began))
        return found

    def _excursion(self, e: ExcursionNow) -> dict[str, Any]:
        v = e.event
        seen = {"logger": "logger", "hand": "by hand", "gap": "silence"}[e.source]
        others = [f"E-{n}" for n in sorted({*e.linked, *e.others})]
        return {
            "number": f"E-{e.number}",
            "seen": seen,
            "others": others,
            "time": self._span(e.anchor_at if v is None else v.start, None if v is None else v.end, e.lasts),
            "minutes": _minutes(e),
            "worst": _worst(e),
            "lots": shown("; ".join(f"{n} × {product} {lot}" for product, lot, n in e.lots)) or "nothing",
            "open": e.open,
            "decision": shown(self._decision(e)),
        }

    def _span(self, start: int, end: int | None, lasts: bool) -> str:
        first = local_text(start, self.zone, self.sheet.as_of)
        if end is None:
            return first + (" – lasts" if lasts else "")
        same = datetime.fromtimestamp(start, self.zone).date() == datetime.fromtimestamp(end, self.zone).date()
        return f"{first} – {_clock(end, self.zone) if same else local_text(end, self.zone, self.sheet.as_of)}"

    def _decision(self, e: ExcursionNow) -> str:
        made = e.decision
        said = ""
        if made is not None:
            when = local_text(made.at, self.zone, self.sheet.as_of)
            said = f"{VERDICTS.get(made.verdict, made.verdict)} by {made.by}, {when}: {made.why}"
            said += f". Answer: {made.answer}" if made.answer else ""
        if e.open:
            if e.reopened:
                return f"✗ OPEN AGAIN: late data changed it after it was {said}"
            return "✗ OPEN: nobody has decided" + (f"; {e.held} held" if e.held else "") + (f"; {said}" if said else "")
        return said or "within the product's allowance"


def _clock(at: int, zone: ZoneInfo) -> str:
    """``08:45``; with its offset where the clock shows that time twice."""
    return local_text(at, zone).split(" ", 4)[4]


def _part(start: int | None, end: int | None, zone: ZoneInfo) -> str:
    return ("" if start is None else f" from {_clock(start, zone)}") + (
        "" if end is None else f" until {_clock(end, zone)}"
    )


def _minutes(e: ExcursionNow) -> str:
    v = e.event
    if v is None:
        return "–"
    most = None if v.minutes_at_most is None else f"at most {v.minutes_at_most:.0f}"
    if v.minutes is None:
        return most or "not known"
    return f"{v.minutes:.0f}" + (f", {most}" if most else "")


def _worst(e: ExcursionNow) -> str:
    if e.event is None:
        return "no reading supports it any more"
    if e.source == "gap":
        return "not known"
    return f"{SIDES[1 if e.direction == 'warm' else -1]}{degrees(e.event.extreme)}, limit {degrees(e.limit)}"
