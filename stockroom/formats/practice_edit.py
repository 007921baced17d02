"""One value of a practice file's text changed, and nothing else in it: not a comment, not a blank."""

import re
import tomllib
from dataclasses import replace
from decimal import Decimal

from stockroom.errors import Refused, unknown
from stockroom.formats.practice_file import read_practice
from stockroom.formats.practice_problems import key_lines, line_of

KEY = "service_target"
_GIVEN = re.compile(rf"""(?P<before>^\s*["']?{KEY}["']?\s*=\s*)(?P<value>[^\s#,}}]+)""")


def with_target(text: str, product: str, target: Decimal) -> str:
    """The text with another service target for a product: on the line where it stands, or on a new one below its code.

    Raises: Refused for an unknown product, and where the text is written so that this is not certain to change that
    target and nothing else (a product in an inline table, say).
    """
    tables = tomllib.loads(text.removeprefix("\ufeff")).get("product", [])
    codes = [table["code"] for table in tables]
    if product not in codes:
        raise unknown("unknown-product", "product", product, codes)
    place, found = codes.index(product), key_lines(text.removeprefix("\ufeff"))
    rows = text.splitlines(keepends=True)
    if KEY in tables[place]:
        n = line_of(found, ("product", place, KEY)) - 1
        rows[n] = _GIVEN.sub(lambda m: f"{m['before']}{target}", rows[n], count=1)
    else:
        n = line_of(found, ("product", place, "code")) - 1
        indent, end = re.match(r"[ \t]*", rows[n]), "\r\n" if rows[n].endswith("\r\n") else "\n"
        rows[n] = rows[n].rstrip("\r\n") + end
        rows.insert(n + 1, f"{indent[0] if indent else ''}{KEY} = {target}{end}")
    changed = "".join(rows)
    if not _only_that(text, changed, product, target):
        raise Refused(
            "practice-edit", f"the practice file is not written so that {product}'s target can be changed in its text",
            f"write {KEY} = {target} under {product} by hand, then: stockroom practice load FILE",
        )  # fmt: skip
    return changed


def _only_that(text: str, changed: str, product: str, target: Decimal) -> bool:
    """True where the changed text reads as the same practice with that target."""
    try:
        after = read_practice(changed, "the changed practice file")
    except Refused:
        return False
    before = read_practice(text, "the practice file on record")
    wanted = tuple(
        replace(p, service_target=float(target)) if p.code == product else p for p in before.products
    )  # fmt: skip
    return after == replace(before, products=wanted)
