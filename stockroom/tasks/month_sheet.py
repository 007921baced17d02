"""A month of every fridge as its log is asked for: from what had happened by an instant, by the rules of each day."""

import re
from dataclasses import dataclass, replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from stockroom.core.practice import Fridge
from stockroom.core.when import FIRST_YEAR, LAST_YEAR
from stockroom.errors import Refused
from stockroom.store import Link
from stockroom.tasks.places import fridge_named
from stockroom.tasks.rules import rules, spans
from stockroom.tasks.sheet_days import FridgeMonth, FridgeSheet


@dataclass(frozen=True, slots=True)
class MonthSheet:
    """What ``fridge sheet`` writes: one sheet for each fridge."""

    as_of: int
    month: date
    practice: str
    zone_name: str
    sheets: tuple[FridgeSheet, ...]

    @property
    def zone(self) -> ZoneInfo:
        """The practice's own time zone."""
        return ZoneInfo(self.zone_name)

    @property
    def attention(self) -> int:
        """How many things on the sheets nobody has answered yet."""
        return sum(s.missed + sum(e.open for e in s.excursions) for s in self.sheets)


def month_named(text: str) -> date:
    """The first day of a month typed like 2026-03. Raises: Refused."""
    found = re.fullmatch(r"([0-9]{4})-([0-9]{2})", text.strip())
    if not found or not 1 <= int(found[2]) <= 12 or not FIRST_YEAR <= int(found[1]) <= LAST_YEAR:
        raise Refused("bad-month", f'"{text}" is not a month', "type it like 2026-03")
    return date(int(found[1]), int(found[2]), 1)


def month_sheet(
    conn: Link, as_of: int, month: date, *, fridge: str | None = None, site: str | None = None
) -> MonthSheet:
    """The month of every fridge of the practice (or site), or of the one named, from what had happened by ``as_of``.

    Raises: Refused for a month that has not begun, an unknown fridge, a practice without any.
    """
    following = (month + timedelta(days=32)).replace(day=1)
    now = rules(conn, as_of)
    any_site = next(iter(now.openings.values()))
    start, end = any_site.midnight(month), any_site.midnight(following)
    if start > as_of:
        today = any_site.day(as_of)
        raise Refused("month-ahead", f"{month:%Y-%m} has not begun", f"name one that has: --month {today:%Y-%m}")
    rule = rules(conn, min(as_of, end - 1))
    known = _fridges(conn, start, min(as_of, end - 1))
    practice = replace(rule.practice, fridges=tuple(f for f, _ in known))
    name = None if fridge is None else fridge_named(practice, fridge, site)
    sites = rule.sites(site)
    made = tuple(
        FridgeMonth(conn, rules(conn, last), f, month, following, as_of).made()
        for f, last in known
        if f.site in sites and name in (None, f.name)
    )
    if not made:
        raise Refused("no-fridge", "the practice file has no fridge here", "see: stockroom practice show")
    return MonthSheet(as_of, month, rule.practice.name, rule.practice.timezone, made)


def _fridges(conn: Link, start: int, last: int) -> list[tuple[Fridge, int]]:
    """Every fridge that any practice file of [start, last] names, as the latest describes it, and until when that ruled."""
    found: dict[str, tuple[Fridge, int]] = {}
    for a, b, practice in reversed(spans(conn)):
        if a <= last and b > start:
            for f in practice.fridges:
                found.setdefault(f.name, (f, min(last, b - 1)))
    return list(found.values())
