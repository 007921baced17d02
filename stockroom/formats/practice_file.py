"""The practice file: TOML text -> the practice as a value, or everything that is wrong with it at once.

The keys are in practice_keys.py, their readers in practice_values.py, line numbers and wording in
practice_problems.py. Here stands what concerns several tables: which names must be known, which may not stand
twice, what a site takes over from the practice, and what is worth a warning. The store keeps the text as it was
loaded, so nothing here writes one.
"""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple
from unicodedata import normalize

from stockroom.core.practice import Fridge, Practice, Product, Site
from stockroom.core.records import OUTSIDE
from stockroom.core.units import count, degrees
from stockroom.errors import Refused, nearest
from stockroom.formats.practice_keys import TABLES, Given
from stockroom.formats.practice_problems import Path, Problem, plain, sentences

LARGEST = 1_000_000
"""Bytes: a practice file is some hundred lines, and anything this large is another file."""
SHOWN = 10
"""How many problems one refusal lists."""
RESERVED = (*OUTSIDE, "out")
"""Names that the records use for what is not in a fridge or on a shelf."""


class _Row(NamedTuple):
    """One table of the file as read: its kind and its fields."""

    kind: str
    given: Given


def decode_practice(data: bytes, name: str) -> str:
    """The text of a practice file: UTF-8, with or without the mark that some editors put first.

    Raises: Refused (practice-not-text) for anything else, and for a file of more than 1,000,000 bytes.
    """
    if len(data) > LARGEST:
        raise Refused("practice-not-text", f"{name} is too large: {len(data):,} bytes", "check the name of the file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        raise Refused(
            "practice-not-text",
            f"{name} line {line} is not UTF-8 text (byte {data[problem.start]:#04x})",
            "save it as UTF-8 in the editor and load it again",
        ) from None


def read_practice(text: str, name: str) -> Practice:
    """The practice that a file's text describes; ``name`` is the file's name for messages.

    Raises: Refused (practice-syntax) where the text is not TOML, (practice-file) with all that is wrong with it,
    by line: unknown and missing keys, values that cannot be, names that are not known or stand twice.
    """
    text = text.removeprefix("\ufeff")
    raw = _parsed(text, name)
    rows, wrong = _rows(raw)
    wrong += [*_repeated(raw), *_misnamed(raw), *_dangling(raw), *_without_site(raw)]
    if wrong:
        told = sentences(wrong, raw, text, name, {kind: table.name for kind, table in TABLES.items()})
        more = [f"and {len(told) - SHOWN} more"] if len(told) > SHOWN else []
        what = told[0] if len(told) == 1 else "\n".join([f"{name}: {len(told)} problems", *told[:SHOWN], *more])
        raise Refused("practice-file", what, f"correct {count(len(told), 'line')} in {name} and load it again")
    return _practice(rows)


def _parsed(text: str, name: str) -> dict[str, Any]:
    """The tables and values of a TOML text."""
    todo = 'texts stand in "quotes", lists in [ ], and every table of a kind begins with its name in [[ ]]'
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except RecursionError:
        raise Refused("practice-syntax", f"{name} is nested too deeply", todo) from None
    except tomllib.TOMLDecodeError as problem:
        where = re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", str(problem), re.DOTALL)
        said = f"{name} line {where[2]}, column {where[3]}: {where[1]}" if where else f"{name}: {problem}"
        raise Refused("practice-syntax", said, todo) from None
    except (InvalidOperation, ValueError):
        raise Refused("practice-syntax", f"{name} holds a number that is too long to be one", todo) from None


def _tables(raw: dict[str, Any], kind: str) -> list[tuple[Path, dict[str, Any]]]:
    """The tables of a kind with their paths; none where they are written in another shape."""
    found = raw.get(kind)
    if kind == "practice":
        return [((kind,), found)] if isinstance(found, dict) else []
    listed = found if isinstance(found, list) else []
    return [((kind, place), table) for place, table in enumerate(listed) if isinstance(table, dict)]


def _rows(raw: dict[str, Any]) -> tuple[list[_Row], list[Problem]]:
    """Every table read by its keys, and what is wrong with its shape or inside it."""
    rows: list[_Row] = []
    wrong = [Problem((key,), nearest(key, list(TABLES)), "unknown") for key in raw if key not in TABLES]
    if "practice" not in raw:
        wrong.append(Problem(("practice",), kind="missing"))
    for kind, table in TABLES.items():
        tables = _tables(raw, kind)
        if kind in raw and len(tables) != (len(raw[kind]) if isinstance(raw[kind], list) else 1):
            shape = "[practice], once" if kind == "practice" else f"[[{kind}]] above each, with two brackets"
            wrong.append(Problem((kind,), f"write {shape}"))
        for path, keys in tables:
            given, found = table.read(keys)
            rows.append(_Row(kind, given))
            wrong += [problem._replace(path=(*path, *problem.path)) for problem in found]
    return rows, wrong


def _names(raw: dict[str, Any], *kinds: str) -> Iterator[tuple[Path, str]]:
    """Where the tables of some kinds are named, and how."""
    for kind in kinds:
        key = TABLES[kind].name
        for path, keys in _tables(raw, kind):
            if isinstance(keys.get(key), str):
                yield (*path, key), normalize("NFC", keys[key])


def _inner(path: Path, keys: dict[str, Any], field: str, key: str) -> Iterator[tuple[Path, str]]:
    """The texts under ``key`` in a list of inline tables."""
    listed = keys.get(field)
    for place, item in enumerate(listed if isinstance(listed, list) else []):
        if isinstance(item, dict) and isinstance(item.get(key), str):
            yield (*path, field, place, key), normalize("NFC", item[key])


def _repeated(raw: dict[str, Any]) -> Iterator[Problem]:
    """Names that stand twice (upper and lower case alike), and barcodes (with 13 or 14 digits alike)."""
    groups = [("fridge", "shelf"), ("site",), ("person",), ("supplier",), ("product",), ("procedure",)]
    codes = [found for path, keys in _tables(raw, "product") for found in _inner(path, keys, "gtin", "code")]
    for named in (*(_names(raw, *group) for group in groups), ((path, word.zfill(14)) for path, word in codes)):
        seen: dict[str, Path] = {}
        for path, word in named:
            first = seen.setdefault(word.casefold(), path)
            if first != path:
                yield Problem(path, kind="twice", other=first)


def _misnamed(raw: dict[str, Any]) -> Iterator[Problem]:
    """Fridges and shelves with a name that the records use otherwise."""
    for path, word in _names(raw, "fridge", "shelf"):
        if word.casefold() in RESERVED:
            yield Problem(path, f"is a word of the records ({', '.join(RESERVED)}): take another name")
        elif re.fullmatch("p-[0-9]+", word.casefold()):
            yield Problem(path, "is what a kit that is out is called: take another name")


def _references(raw: dict[str, Any]) -> Iterator[tuple[Path, str, str]]:
    """Where one table names another: the path, the kind of the other, the word."""
    for kind, key in (("fridge", "site"), ("shelf", "site"), ("product", "supplier")):
        for path, keys in _tables(raw, kind):
            if isinstance(keys.get(key), str):
                yield (*path, key), key, normalize("NFC", keys[key])
    for path, keys in _tables(raw, "product"):
        inside = keys.get("contains")
        for word in inside if isinstance(inside, dict) else ():
            yield (*path, "contains", word), "product", normalize("NFC", word)
    for path, keys in _tables(raw, "procedure"):
        yield from ((at, "product", word) for at, word in _inner(path, keys, "uses", "product"))


def _dangling(raw: dict[str, Any]) -> Iterator[Problem]:
    """Names of other tables that are not there, and kits named as what a kit contains."""
    known = {kind: [word for _, word in _names(raw, kind)] for kind in ("site", "supplier", "product")}
    kits = [keys.get("code") for _, keys in _tables(raw, "product") if keys.get("kind") == "kit"]
    for path, kind, word in _references(raw):
        if word not in known[kind]:
            yield Problem(path, f'there is no [[{kind}]] "{plain(word)}"{nearest(word, known[kind])}')
        elif "contains" in path and word in kits:
            yield Problem(path, f"{word} is a kit, and only supplies are packed inside a kit")


def _without_site(raw: dict[str, Any]) -> Iterator[Problem]:
    """Missing hours, and in a group fridges and shelves without a site."""
    sites = _tables(raw, "site")
    for path, keys in _tables(raw, "practice"):
        if "hours" not in keys:
            lacking = [at for at, site in sites if "hours" not in site] if sites else [path]
            yield from (Problem((*at, "hours"), kind="missing") for at in lacking)
    for kind in ("fridge", "shelf") if sites else ():
        for path, keys in _tables(raw, kind):
            if "site" not in keys:
                yield Problem((*path, "site"), kind="missing")


def _practice(rows: list[_Row]) -> Practice:
    """The value, from rows in which nothing is wrong."""
    top = next(dict(row.given) for row in rows if row.kind == "practice")
    hours, closed = top.pop("hours", ()), top.pop("closed", ())

    def made(kind: str) -> tuple[Any, ...]:
        return tuple(TABLES[kind].make(**row.given) for row in rows if row.kind == kind)

    sites = tuple(Site(s["name"], s.get("hours", hours), (*closed, *s.get("closed", ()))) for s in made("site"))
    practice = Practice(
        **top,
        sites=sites or (Site("", hours, closed),),
        fridges=made("fridge"),
        shelves=made("shelf"),
        people=made("person"),
        suppliers=made("supplier"),
        products=made("product"),
        procedures=made("procedure"),
    )
    unexpected = [r.given["code"] for r in rows if r.kind == "procedure" and "expected_per_week" not in r.given]
    return replace(practice, findings=(*_findings(practice), *map(_unexpected, unexpected)))


def _unexpected(code: str) -> str:
    """The warning about a procedure of which nobody said how often it is done."""
    return f"procedure {code} has no expected_per_week: until there is history, only what is booked is reordered"


def _findings(practice: Practice) -> Iterator[str]:
    """What is worth a warning, one sentence each."""
    cold = [product for product in practice.products if product.cold]
    for fridge in practice.fridges:
        yield from _wide_alarms(fridge, cold)
        if fridge.checks == "logger" and fridge.logger_minutes is None:
            yield f"{fridge.name} is checked by its logger only but has no logger_minutes: a silence goes unnoticed"
    if cold and not practice.fridges:
        yield f"{', '.join(p.code for p in cold)} must be kept cold, but there is no [[fridge]]"
    used = {use.product for procedure in practice.procedures for use in procedure.uses}
    for product in practice.products:
        yield from _doubts(product)
        if product.code not in used:
            yield f"{product.code} is used by no procedure, so bookings never ask for it"


def _wide_alarms(fridge: Fridge, cold: list[Product]) -> Iterator[str]:
    """A fridge that would stay silent while a cold product leaves its own range."""
    kept = [(product.code, product.keep) for product in cold if product.keep]
    for limit, stricter in (
        (fridge.high, [(c, k.high) for c, k in kept if k.high is not None and k.high < fridge.high]),
        (fridge.low, [(c, k.low) for c, k in kept if k.low is not None and k.low > fridge.low]),
    ):
        if stricter:
            listed = ", ".join(f"{code} is kept to {degrees(milli)}" for code, milli in stricter)
            yield (
                f"{fridge.name} alarms at {degrees(limit)} but {listed}: its own alarm stays silent between the two, "
                "and stock is judged by the product's limit"
            )


def _doubts(product: Product) -> Iterator[str]:
    """What is not said about a product, or said without effect."""
    if product.kind == "kit" and product.cold and product.source is None:
        yield f"{product.code} is kept cold but has no source: write whose figures these are (label, day, initials)"
    if product.kind == "kit" and product.cold and product.max_out_seconds is None:
        yield f"{product.code} has no max_out_hours: ask the maker how long it may be out of the fridge"
    if product.warmup_seconds and product.kind == "supply":
        yield f"{product.code} is a supply, so its warmup_hours have no effect"
    if product.warms and not product.cold:
        yield f"{product.code} warms up but has no keep range: it counts as kept at room temperature"
