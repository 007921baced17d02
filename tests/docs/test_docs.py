"""The documentation against the program: every command, option, key, table, column, message and module has its place.

Source of the expectations: the program itself (its command tree, its tables, its keys, its syntax trees).
"""

import ast
import contextlib
import dataclasses
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer
from doc_pages import DOCS, PAGES, ROOT, blocks, commands, parts, prose, rows

from stockroom.cli.main import app, main
from stockroom.core import practice as values
from stockroom.formats import practice_keys
from stockroom.formats.practice_keys import TABLES
from stockroom.store.derived_tables import derived
from stockroom.store.engine import _SAID
from stockroom.store.tables import meta
from stockroom.tasks.warm_plan import HELP

pytest_plugins = ("doc_demo",)
COMMON = {"--by", "--at", "--as-of", "--json", "--help"}
"""Options that the commands page explains once."""


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def command_tree(command: Any, path: tuple[str, ...] = ("stockroom",)) -> Iterator[tuple[str, Any]]:
    """("stockroom fridge log", command) for every command that can be typed."""
    for name, below in getattr(command, "commands", {}).items():
        yield from command_tree(below, (*path, name))
    if not hasattr(command, "commands"):
        yield " ".join(path), command


TREE = dict(command_tree(typer.main.get_command(app)))


# --- the pages among themselves ---


@pytest.mark.parametrize("where", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_link_leads_somewhere(where: Path) -> None:
    for link in re.findall(r"\]\(([^)]+)\)", where.read_text(encoding="utf-8")):
        file, _, anchor = link.partition("#")
        target = where if not file else (where.parent / file).resolve()
        assert target.exists(), link
        if anchor:
            titles = re.findall(r"^#+ (.*)$", target.read_text(encoding="utf-8"), re.MULTILINE)
            assert anchor in [t.casefold().replace(" ", "-") for t in titles], link


def test_every_rule_is_one_hop_from_the_readmes_map() -> None:
    mapped = parts(page("README.md"), "##")["Map"]
    lines = [line for line in mapped.splitlines() if "docs/rules/" in line]
    assert {re.search(r"docs/rules/(.*?)\.md", line)[1] for line in lines} == {
        p.stem for p in (DOCS / "rules").glob("*.md")
    }  # type: ignore[index]
    for line in lines:
        assert "](stockroom/" in line and "](tests/" in line, line
    for name in DOCS.glob("*.md"):
        assert f"(docs/{name.name})" in mapped, name.name


@pytest.mark.parametrize("where", sorted((DOCS / "rules").glob("*.md")), ids=lambda p: p.stem)
def test_a_rules_page_has_a_worked_case_and_names_its_module_and_its_test(where: Path) -> None:
    text = where.read_text(encoding="utf-8")
    assert parts(text, "##")["Worked case"].strip()
    assert "](../../stockroom/" in text and "](../../tests/" in text


def test_the_readme_says_first_what_it_is_for_and_is_short() -> None:
    text = page("README.md")
    assert "never says that a kit is fit for use" in prose(text.split("## Two commands")[0])
    assert len(text.splitlines()) < 170


def test_the_readmes_two_commands_are_one_line_each_for_each_system() -> None:
    shown = blocks(parts(page("README.md"), "##")["Two commands"])
    assert [b.language for b in shown] == ["sh", "powershell", "sh", "powershell"]
    assert all(len(b.text.splitlines()) == 1 for b in shown)


def test_every_module_is_named_in_the_layout() -> None:
    told = page("DEVELOPERS.md")
    for module in (ROOT / "stockroom").rglob("*.py"):
        if module.name != "__init__.py":
            assert re.search(rf"\b{module.stem}\b", parts(told, "##")["The floors"]), module.relative_to(ROOT)


# --- commands ---


def test_every_command_has_a_help_and_a_section_and_no_section_is_stale() -> None:
    sections = [t for t in parts(page("docs/commands.md"), "##") if t.startswith("stockroom ")]
    assert sorted(sections) == sorted(TREE)
    for name, command in TREE.items():
        assert command.help and command.help.strip(), name
        for parameter in command.params:
            told = getattr(parameter, "help", None) or parameter.metavar
            assert told, (name, parameter.name)


@pytest.mark.parametrize("name", TREE)
def test_a_commands_section_explains_it_lists_its_options_and_shows_an_example(name: str) -> None:
    section = parts(page("docs/commands.md"), "##")[name]
    assert len(section.split("```")[0].split()) >= 5
    named = set(re.findall(r"--[a-z-]+", section.split("```")[0]))
    real = {o for p in TREE[name].params for o in p.opts if o.startswith("--")}
    assert real - COMMON <= named, real - COMMON - named
    own = {o for line in section.splitlines() if line.startswith("- ") for o in re.findall(r"^- (.*?):", line)}
    listed = {o for words in own for o in re.findall(r"--[a-z-]+", words)}
    assert listed <= real, listed - real
    assert any(words[: len(name.split())] == name.split() for words in commands(section))


@pytest.mark.parametrize("name", TREE)
def test_a_commands_example_parses(name: str) -> None:
    from stockroom.cli.job import Job
    from stockroom.cli.main import prepared

    words = next(
        w for w in commands(parts(page("docs/commands.md"), "##")[name]) if w[: len(name.split())] == name.split()
    )
    args = prepared(words[1:], Job(0, ""))[len(name.split()) - 1 :]
    TREE[name].make_context(name, args, resilient_parsing=False)


# --- JSON ---


def fields(answer: Any, path: str = "") -> Iterator[str]:
    """Every field of an answer: ``a``, ``a[].b``, ``a.c``."""
    if isinstance(answer, dict):
        for key, below in answer.items():
            yield f"{path}.{key}".strip(".")
            yield from fields(below, f"{path}.{key}".strip("."))
    elif isinstance(answer, list):
        for item in answer:
            yield from fields(item, f"{path}[]")


def documented(name: str) -> set[str]:
    """Every field that the page lists for a command, those of the parts it links to included."""
    sections = parts(page("docs/json.md"), "##")
    shared = {title.casefold().replace(" ", "-"): text for title, text in sections.items()}

    def told(text: str) -> set[str]:
        found = set(rows(text))
        for line in text.splitlines():
            for anchor in re.findall(r"\(#([a-z-]+)\)", line):
                lead = re.match(r"\| `(.*?)`", line)
                found |= {f"{lead[1]}.{f}" if lead else f for f in told(shared[anchor])}
        return found

    return told(sections[name]) | (told(shared["every-record"]) if "--by" in options(name) else set())


def options(name: str) -> set[str]:
    return {o for p in TREE[name].params for o in p.opts}


def command_of(words: list[str]) -> str:
    return next(n for n in sorted(TREE, key=len, reverse=True) if words[: len(n.split())] == n.split())


def answered(words: list[str]) -> Any:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([*words[1:], "--json"])
    assert code in (0, 1), (words, err.getvalue())
    return json.loads(out.getvalue())


@pytest.mark.usefixtures("folder")
def test_every_field_of_every_answer_is_explained(monkeypatch: pytest.MonkeyPatch) -> None:
    text = page("docs/commands.md")
    for block in blocks(text):
        if block.name:
            Path(block.name).write_text(block.text + "\n", encoding="utf-8")
    seen = set()
    for words in commands(text):
        if words[0] == "export":
            monkeypatch.setenv(*words[1].split("=", 1))
        elif words != ["stockroom", "demo"]:
            name = command_of(words)
            missing = set(fields(answered(words))) - documented(name)
            assert not missing, (name, sorted(missing))
            seen.add(name)
    assert seen == set(TREE) - {"stockroom demo"}


LOOKS = (
    "today",
    "fridge check",
    "fridge chart",
    "fridge chart --out chart.svg",
    "fridge sheet --month 2026-03 --out sheet.html",
    "warmup check",
    "warmup list --out door.html",
    "warmup labels --out labels.html",
    "warmup when single-tooth --days 30",
    "warmup calendar --out take-outs.ics",
    "stock list",
    "stock expiring",
    "reorder list",
    "reorder explain TOOTH",
    "reorder explain TOOTH --out stock.svg",
    "reorder accuracy TOOTH",
    "reorder orders",
    "reorder orders --all",
    "reorder orders O-1",
    "reorder sheet O-1 --out order.html",
    "reorder rehearse TOOTH --runs 100",
    "trace lot ARCH 7J077",
    "trace booking K1065",
    "records history",
)


@pytest.mark.parametrize("look", LOOKS)
def test_every_field_of_the_demos_answers_is_explained(
    look: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STOCKROOM_DB", told)
    monkeypatch.chdir(tmp_path)
    as_of = [] if look == "records history" else ["--as-of", "2026-04-14T08:40"]
    words = ["stockroom", *look.split(), *as_of]
    found = set(fields(answered(words)))
    assert found
    assert not found - documented(command_of(words))


# --- the practice file ---

INLINE = {
    "closed": practice_keys.CLOSURE,
    "probe": practice_keys.PROBE,
    "keep": practice_keys.KEEP,
    "allowance": practice_keys.ALLOWANCE,
    "gtin": practice_keys.TRADE_ITEM,
    "uses": practice_keys.USE,
    "price_breaks": practice_keys.PRICE_BREAK,
}


@pytest.mark.parametrize("kind", [*TABLES, *INLINE])
def test_every_key_of_the_practice_file_is_explained_and_none_is_stale(kind: str) -> None:
    table = {**TABLES, **INLINE}[kind]
    told = rows(parts(page("docs/practice-file.md"), "##")[kind])
    assert set(told) == set(table.keys)
    for name, key in table.keys.items():
        meaning, default = told[name]
        assert meaning
        assert default.startswith("required") or not key.required, name
        assert default != "required" or key.required, name


@pytest.mark.parametrize("kind", [k for k in TABLES if k != "site"])
def test_the_defaults_of_the_practice_file_are_the_programs(kind: str) -> None:
    told = rows(parts(page("docs/practice-file.md"), "##")[kind])
    known = {f.name: f.default for f in dataclasses.fields(getattr(values, kind.capitalize()))}
    for name, key in TABLES[kind].keys.items():
        default = known.get(key.field or name)
        if name == "max_cycles":  # the usual number of cycles, whatever that is
            assert told[name][1] == "`cycles`"
        elif isinstance(default, bool):
            assert told[name][1] == f"`{str(default).lower()}`", name
        elif default not in (None, "", dataclasses.MISSING) and not isinstance(default, tuple):
            written = "24:00" if name == "cutoff" else f"{default:g}" if isinstance(default, float) else str(default)
            assert told[name][1].split(",")[0] == f"`{written}`", name


# --- the schema ---


@pytest.mark.parametrize("table", [*meta.tables.values(), *derived.tables.values()], ids=lambda t: t.name)
def test_every_column_is_explained_and_none_is_stale(table: Any) -> None:
    told = rows(parts(page("docs/schema.md"), "##")[table.name])
    assert list(told) == [c.name for c in table.columns]
    assert all(meaning for (meaning,) in told.values())


def test_no_table_of_the_schema_page_is_stale() -> None:
    assert set(parts(page("docs/schema.md"), "##")) == {*meta.tables, *derived.tables}


# --- messages ---

RAISED = {"Refused", "DatabaseError", "UsageError", "StockroomError", "Unsaid", "Finding", "unknown"}
NOTED = {"broke", "note", "breach"}
HANDED_ON = {"slug", "fault.slug", "never.slug"}
"""A slug that comes from elsewhere, where it is found already."""


def slugs() -> Iterator[str]:
    """Every slug in the program's own text."""
    for module in (ROOT / "stockroom").rglob("*.py"):
        for call in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and call.args and _says(call.func):
                yield from _first(call.args[0], module)
    yield from (slug for _, slug, _, _ in _SAID)


def _says(made: ast.expr) -> bool:
    if isinstance(made, ast.Name):
        return made.id in RAISED
    return (
        isinstance(made, ast.Attribute)
        and made.attr in NOTED
        and ast.unparse(made.value) in ("rec", "self.book", "book")
    )


def _first(said: ast.expr, module: Path) -> Iterator[str]:
    written = ast.unparse(said)
    if isinstance(said, ast.Constant):
        yield str(said.value)
    elif isinstance(said, ast.IfExp):
        yield from (*_first(said.body, module), *_first(said.orelse, module))
    elif written.endswith("state"):  # a row of the warm-up plan that needs somebody
        yield from HELP
    else:
        assert written in HANDED_ON, f"{module.name}: what can {written} be? Say so here, and in docs/messages.md"


def test_every_message_is_explained_and_none_is_stale() -> None:
    found = set(slugs())
    assert len(found) > 150
    text = page("docs/messages.md")
    told = rows(text)
    extra = {"due"}  # shown as a state of the plan
    assert found - set(told) == set()
    assert set(told) - found - extra == set()
    assert all(meaning and do for meaning, do in told.values())
    assert len(re.findall(r"^\| `", text, re.MULTILINE)) == len(told), "a slug stands twice"
