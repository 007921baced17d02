"""The whole practice file at a glance: every table, its keys, how each is read, and what cannot be.

A key that is absent takes the default of its field in core/practice.py; one that is ``required`` must be there.
The readers are in practice_values.py; what is said of several tables at once (names that must be known, names
that stand twice) is in practice_file.py. TABLES at the end is the format.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

from stockroom.core.practice import (
    Allowance,
    Closure,
    Fridge,
    Keep,
    Person,
    PriceBreak,
    Procedure,
    Product,
    Shelf,
    Supplier,
    TradeItem,
    Use,
)
from stockroom.core.units import degrees
from stockroom.errors import nearest
from stockroom.formats import practice_values as read
from stockroom.formats.practice_problems import Problem, Wrong
from stockroom.formats.practice_values import Reader

Given = dict[str, Any]
"""What was read of one table, by the names of the fields: what is absent or wrong has no entry."""
Rules = Callable[[Given], Iterator[tuple[str, str]]]
"""What must hold between the keys of one table: the key to blame and what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its reader, and the field that it fills where that is not called like the key."""

    reader: Reader
    required: bool = False
    field: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of table: what it makes, its keys, the key that names it, and what must hold between its keys."""

    make: Callable[..., Any]
    keys: dict[str, Key]
    name: str = ""
    rules: Rules | None = None

    def read(self, raw: dict[str, Any]) -> tuple[Given, list[Problem]]:
        """What the table says and everything that is wrong with it."""
        given: Given = {}
        wrong = [Problem((k,), nearest(k, list(self.keys)), "unknown") for k in raw if k not in self.keys]
        for name, key in self.keys.items():
            if name in raw:
                try:
                    given[key.field or name] = key.reader(raw[name])
                except Wrong as problem:
                    wrong += problem.at(name)
            elif key.required:
                wrong.append(Problem((name,), "", "missing"))
        if self.rules:
            bad = {problem.path[0] for problem in wrong}
            found = [(name, said) for name, said in self.rules(given) if name not in bad]
            wrong += [Problem((name,), said, "value" if name in raw else "missing") for name, said in found]
        return given, wrong


def inline(table: Table) -> Reader:
    """An inline table."""

    def made(raw: Any) -> Any:
        if not isinstance(raw, dict):
            raise Wrong(f"give a table: {{ {', '.join(f'{key} = …' for key in table.keys)} }}")
        given, wrong = table.read(raw)
        if wrong:
            raise Wrong(below=wrong)
        return table.make(**given)

    return made


def keep(raw: Any) -> Keep:
    """``{ low = 2.0, high = 6.0 }``; one of them may be left out."""
    if raw == {}:
        raise Wrong("give low or high or both")
    kept: Keep = inline(KEEP)(raw)
    return kept


def closures(raw: Any) -> tuple[Closure, ...]:
    """``[{ from = …, to = …, why = … }]``; a bare day is one day, and the brackets may then be left out."""

    def closure(item: Any) -> Closure:
        made: Closure = inline(CLOSURE)(item if isinstance(item, dict) else {"from": read.day(item)})
        return made

    found = read.each(closure)(raw) if isinstance(raw, list) else (closure(raw),)
    return tuple(sorted(found, key=lambda one: one.first))


# --- what must hold between the keys of one table ---


def _in_order(given: Given) -> Iterator[tuple[str, str]]:
    low, high = given.get("low"), given.get("high")
    if low is not None and high is not None and low > high:
        yield "low", f"is above high ({degrees(high)})"


def _fridge(given: Given) -> Iterator[tuple[str, str]]:
    yield from _in_order(given)
    every, longest = given.get("logger_minutes"), given.get("max_gap_minutes", Fridge("", 0, 0).max_gap_minutes)
    if every is not None and longest < every:
        yield "logger_minutes", f"is more than max_gap_minutes ({longest}), so every silence would be a gap"


def _closure(given: Given) -> Iterator[tuple[str, str]]:
    if "first" in given and "last" in given and given["last"] < given["first"]:
        yield "to", f"is before from ({given['first']})"


def _product(given: Given) -> Iterator[tuple[str, str]]:
    keep, allowance = given.get("keep"), given.get("allowance")
    high = keep.high if keep else None
    if allowance and high is None:
        yield "keep", "the allowance needs its high to go beyond"
    elif allowance and allowance.up_to <= high:
        yield "allowance", f"its up_to must be above the high of keep ({degrees(high)})"
    warm, out = given.get("warmup_seconds", 0), given.get("max_out_seconds")
    if out is not None and out < warm:
        yield "max_out_hours", f"is below warmup_hours ({warm / 3600:g}): it could never be used"
    if given.get("contains") and given.get("kind") == "supply":
        yield "contains", "only a kit holds supplies"
    yield from _price_breaks(given)


def _price_breaks(given: Given) -> Iterator[tuple[str, str]]:
    breaks, price = sorted(given.get("price_breaks", ()), key=lambda b: b.packs), given.get("pack_price")
    if breaks and price is None:
        yield "pack_price", "price_breaks need the price of a pack without them"
    elif any(a.packs == b.packs for a, b in pairwise(breaks)):
        yield "price_breaks", "names a number of packs twice"
    elif breaks and any(
        b.pack_price >= a for a, b in zip([price, *(b.pack_price for b in breaks)], breaks, strict=False)
    ):
        yield "price_breaks", "a pack must cost less than in a smaller order"


def _use(given: Given) -> Iterator[tuple[str, str]]:
    if "product" in given and not any(given.get(key) for key in ("each", "per_cycles", "spare")):
        yield "product", "uses none of it: give each, per_cycles or spare"


def _procedure(given: Given) -> Iterator[tuple[str, str]]:
    usual, most = given.get("cycles", 0), given.get("max_cycles")
    if most is not None and most < usual:
        yield "max_cycles", f"is below cycles ({usual})"
    if "minutes" in given and given["minutes"] + usual * given.get("minutes_per_cycle", 0) == 0:
        yield "minutes", "the procedure would take no time"
    used = [use.product.casefold() for use in given.get("uses", ())]
    if len(set(used)) < len(used):
        yield "uses", "names a product twice: put each, per_cycles and spare in one entry"


def _made_procedure(**given: Any) -> Procedure:
    """A procedure; without max_cycles its usual cycles are its most."""
    return Procedure(**{"max_cycles": given.get("cycles", 0), **given})


def _made_closure(first: date, last: date | None = None, why: str = "") -> Closure:
    """A closure; without ``to`` it is one day."""
    return Closure(first, last or first, why)


# --- the format ---

CLOSURE = Table(
    _made_closure,
    {"from": Key(read.day, required=True, field="first"), "to": Key(read.day, field="last"), "why": Key(read.words)},
    rules=_closure,
)
KEEP = Table(
    lambda low=None, high=None: Keep(low, high),
    {"low": Key(read.temperature), "high": Key(read.temperature)},
    rules=_in_order,
)
ALLOWANCE = Table(
    Allowance,
    {
        "up_to": Key(read.temperature, required=True),
        "minutes": Key(read.whole(1), required=True),
        "source": Key(read.words, required=True),
    },
)
TRADE_ITEM = Table(TradeItem, {"code": Key(read.trade_code, required=True), "units": Key(read.whole(1), required=True)})
USE = Table(
    Use,
    {
        "product": Key(read.code, required=True),
        "each": Key(read.whole(0, 1000)),
        "per_cycles": Key(read.whole(1, 1000)),
        "spare": Key(read.whole(0, 1000)),
    },
    rules=_use,
)
PRICE_BREAK = Table(
    PriceBreak,
    {"packs": Key(read.whole(2), required=True), "pack_price": Key(read.number(0, 1_000_000), required=True)},
)
PROBE = Table(dict, {"serial": Key(read.words), "calibration_due": Key(read.day)})

TABLES: dict[str, Table] = {
    "practice": Table(
        dict,
        {
            "name": Key(read.words, required=True),
            "timezone": Key(read.zone, required=True),
            "currency": Key(read.currency, required=True),
            "service_target": Key(read.chance),
            "target_kind": Key(read.choice("cycle", "fill")),
            "use_chance": Key(read.chance),
            "review_days": Key(read.whole(1, 366)),
            "margin_minutes": Key(read.whole(0, 720)),
            "rounds": Key(read.unlike(read.time_of_day)),
            "patient_code": Key(read.pattern),
            "hours": Key(read.opening),
            "closed": Key(closures),
        },
    ),
    "site": Table(
        dict,
        {"name": Key(read.name, required=True), "hours": Key(read.opening), "closed": Key(closures)},
        name="name",
    ),
    "fridge": Table(
        lambda probe=None, **given: Fridge(
            **given,
            probe_serial=(probe or {}).get("serial"),
            calibration_due=(probe or {}).get("calibration_due"),
        ),
        {
            "name": Key(read.name, required=True),
            "site": Key(read.name),
            "low": Key(read.temperature, required=True),
            "high": Key(read.temperature, required=True),
            "checks": Key(read.choice("minmax", "twice", "logger")),
            "logger_minutes": Key(read.whole(1, 1440)),
            "max_gap_minutes": Key(read.whole(1, 10_080)),
            "settle_minutes": Key(read.whole(0, 10_080)),
            "gap_hold_hours": Key(read.plain(0, 10_000)),
            "capacity": Key(read.whole(1)),
            "probe": Key(inline(PROBE)),
        },
        name="name",
        rules=_fridge,
    ),
    "shelf": Table(
        Shelf,
        {
            "name": Key(read.name, required=True),
            "site": Key(read.name),
            "low": Key(read.temperature),
            "high": Key(read.temperature),
        },
        name="name",
        rules=_in_order,
    ),
    "person": Table(
        lambda initials, may: Person(initials, frozenset(may)),
        {
            "initials": Key(read.initials, required=True),
            "may": Key(read.unlike(read.choice("record", "decide")), required=True),
        },
        name="initials",
    ),
    "supplier": Table(
        Supplier,
        {
            "name": Key(read.name, required=True),
            "order_days": Key(read.unlike(read.weekday, least=1), required=True),
            "cutoff": Key(read.time_of_day),
            "lead_days": Key(read.whole(0, 366), required=True),
            "delivery_days": Key(read.unlike(read.weekday, least=1), required=True),
            "minimum_order": Key(read.number(0, 1_000_000)),
            "closed": Key(closures),
            "lead_from_orders": Key(read.yes_no),
        },
        name="name",
    ),
    "product": Table(
        Product,
        {
            "code": Key(read.code, required=True),
            "name": Key(read.words, required=True),
            "supplier": Key(read.name, required=True),
            "kind": Key(read.choice("kit", "supply"), required=True),
            "keep": Key(keep),
            "source": Key(read.words),
            "allowance": Key(inline(ALLOWANCE)),
            "warmup_hours": Key(read.hours_long, field="warmup_seconds"),
            "max_out_hours": Key(read.hours_long, field="max_out_seconds"),
            "returnable": Key(read.yes_no),
            "pack_size": Key(read.whole(1)),
            "pack_price": Key(read.number(0, 1_000_000)),
            "price_breaks": Key(read.each(inline(PRICE_BREAK))),
            "minimum_packs": Key(read.whole(0)),
            "space": Key(read.whole(0)),
            "shelf_life_days": Key(read.whole(1, 36_600)),
            "service_target": Key(read.chance),
            "use_chance": Key(read.chance),
            "gtin": Key(read.each(inline(TRADE_ITEM)), field="trade_items"),
            "contains": Key(read.contents),
            "caution": Key(read.each(read.words)),
        },
        name="code",
        rules=_product,
    ),
    "procedure": Table(
        _made_procedure,
        {
            "code": Key(read.code, required=True),
            "minutes": Key(read.whole(0, 1440), required=True),
            "minutes_per_cycle": Key(read.whole(0, 1440)),
            "cycles": Key(read.whole(0, 1000)),
            "max_cycles": Key(read.whole(0, 1000)),
            "expected_per_week": Key(read.plain(0, 10_000)),
            "uses": Key(read.each(inline(USE))),
        },
        name="code",
        rules=_procedure,
    ),
}
