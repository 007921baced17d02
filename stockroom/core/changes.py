"""What a newly loaded practice file changes, in plain sentences: the old practice and the new -> one line a change.

It goes over the fields of the values in core/practice.py, whatever they are, so that a new field is told of
without a word here; only how a field is called and printed is listed. The order in which tables stand in the file
means nothing and is not compared.
"""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from stockroom.core.practice import WEEKDAYS, Closure, Hours, Practice, Site
from stockroom.core.units import count, degrees
from stockroom.core.when import day_text

KINDS = {
    "sites": ("site", "name"),
    "fridges": ("fridge", "name"),
    "shelves": ("shelf", "name"),
    "people": ("person", "initials"),
    "suppliers": ("supplier", "name"),
    "products": ("product", "code"),
    "procedures": ("procedure", "code"),
}
"""The practice's tables: how one of them is called, and the field that names it."""

_CALLED = {
    "warmup_seconds": "warm-up",
    "max_out_seconds": "longest time out",
    "lead_days": "lead time",
    "trade_items": "barcode",
    "probe_serial": "probe",
    "cutoff": "cut-off",
    "minutes": "time",
}
_DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def changes(old: Practice, new: Practice) -> list[str]:
    """One sentence for everything that is different, in the order of the practice file; empty where nothing is."""
    told = [f"practice: {said}" for said in _differences(old, new)]
    for table, (kind, naming) in KINDS.items():
        before = {getattr(one, naming): one for one in getattr(old, table)}
        after = {getattr(one, naming): one for one in getattr(new, table)}
        for name in (*before, *(name for name in after if name not in before)):
            called = f"{kind} {name}" if naming != "name" else f'{kind} "{name}"' if name else "practice"
            if name not in after:
                told.append(f"{called} removed" if name else "practice: its hours now stand at its sites")
            elif name not in before:
                told.append(f"{called} added" if name else "practice: it is one site now")
            else:
                told += [f"{called}: {said}" for said in _differences(before[name], after[name])]
    return told


def _differences(old: Any, new: Any) -> Iterator[str]:
    """What differs between two values of one kind, field by field."""
    for field in fields(old):
        before, after = getattr(old, field.name), getattr(new, field.name)
        if before == after or not field.compare or field.name in KINDS:
            continue
        if isinstance(old, Site) and field.name == "hours":
            yield from _hours(before, after)
        elif isinstance(before, tuple) and not all(isinstance(item, int) for item in (*before, *after)):
            yield from _items(field.name, before, after)
        else:
            yield f"{_called(field.name)} {_printed(field.name, before)} -> {_printed(field.name, after)}"


def _hours(old: Hours, new: Hours) -> Iterator[str]:
    """The weekdays whose hours differ."""
    for day, before, after in zip(_DAY_NAMES, old, new, strict=True):
        if before != after:
            shown = [", ".join(f"{_clock(a)}-{_clock(b)}" for a, b in spans) or "closed" for spans in (before, after)]
            yield f"hours on {day} {shown[0]} -> {shown[1]}"


def _items(name: str, old: tuple[Any, ...], new: tuple[Any, ...]) -> Iterator[str]:
    """What left a list and what came into it."""
    gone, come = [x for x in old if x not in new], [x for x in new if x not in old]
    yield from (f"{_called(name)} {_printed(name, item)} removed" for item in gone)
    yield from (f"{_called(name)} {_printed(name, item)} added" for item in come)
    if not gone and not come:
        yield f"{_called(name)} listed otherwise"


def _called(name: str) -> str:
    """A field in words, without the unit that its value carries."""
    for unit in ("_minutes", "_hours", "_seconds"):
        name = name if name in _CALLED else name.removesuffix(unit)
    if name in ("review_days", "shelf_life_days"):
        name = name.removesuffix("_days")
    return _CALLED.get(name, name.replace("_", " "))


def _clock(minute: int) -> str:
    """Minutes since midnight as 08:30."""
    return f"{minute // 60:02}:{minute % 60:02}"


def _printed(name: str, value: Any) -> str:
    """A value with its unit, which the name of its field tells."""
    if value is None or value in ((), frozenset(), ""):
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Closure):
        days = day_text(value.first) + (f" to {day_text(value.last)}" if value.last != value.first else "")
        return f"{days} ({value.why})" if value.why else days
    if is_dataclass(value):
        parts = ((field.name, getattr(value, field.name)) for field in fields(value))
        return ", ".join(f"{_called(key)} {_printed(key, part)}" for key, part in parts if part is not None)
    if isinstance(value, date):
        return day_text(value)
    if isinstance(value, frozenset):
        return ", ".join(sorted(value))
    if name == "contains":
        return f"{value[1]} {value[0]}"
    if name in ("order_days", "delivery_days"):
        return ", ".join(WEEKDAYS[day] for day in value)
    if name in ("cutoff", "rounds"):
        return ", ".join(_clock(minute) for minute in (value if isinstance(value, tuple) else (value,)))
    return _with_unit(name, value)


def _with_unit(name: str, value: Any) -> str:
    """A number or a text with the unit of its field."""
    if name in ("low", "high", "up_to"):
        return degrees(value)
    if name.endswith("_seconds"):
        return f"{value / 3600:.4f}".rstrip("0").rstrip(".") + " h"
    if name.endswith("_hours"):
        return f"{value:.12g} h"
    if name.endswith("_days"):
        return count(value, "day")
    if name == "minutes" or name.endswith("_minutes"):
        return f"{value} min"
    if isinstance(value, float):
        return f"{value:.12g}"
    return f'"{value}"' if isinstance(value, str) and " " in value else str(value)
