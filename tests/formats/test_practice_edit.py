"""One target changed in the text of a practice file. Expectations are derived: the same text but for one line."""

from decimal import Decimal
from pathlib import Path

import pytest
from conftest import PRACTICE

from stockroom.errors import Refused
from stockroom.formats.practice_edit import with_target
from stockroom.formats.practice_file import read_practice

SAMPLE = (Path(__file__).parents[2] / "sample_data" / "practice.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("code", ["ARCH", "TOOTH", "SWB", "BARRIER", "BALM"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_one_line_changes_and_nothing_else(code: str, end: str) -> None:
    text = SAMPLE.replace("\n", end)
    changed = with_target(text, code, Decimal("0.985"))
    before, after = text.split(end), changed.split(end)
    new = [line for line in after if line not in before]
    assert len(new) == 1 and new[0].startswith("service_target = 0.985")
    assert after[: after.index(new[0])] == before[: after.index(new[0])]
    assert len(after) - len(before) == (0 if code == "BARRIER" else 1)
    if code == "BARRIER":
        assert new[0] == "service_target = 0.985             # a product may have a target of its own"
    found = read_practice(changed, "x").product(code)
    assert found is not None and found.service_target == 0.985


def test_a_mark_at_the_beginning_and_quoted_keys() -> None:
    text = "\ufeff" + PRACTICE.replace('code = "KIT"', '"code" = "KIT"\n  "service_target" = 0.9')
    assert '"service_target" = 0.97' in with_target(text, "KIT", Decimal("0.97"))


def test_a_code_that_is_only_named_elsewhere_is_not_touched() -> None:
    text = PRACTICE.replace('caution = ["Do not use if the seal is broken."]', 'caution = ["service_target = 0.5"]')
    changed = with_target(text, "KIT", Decimal("0.5"))
    assert changed.count("service_target = 0.5") == 2


@pytest.mark.parametrize(
    "lines",
    ['product = [{ code = "A", name = "A", supplier = "S", kind = "supply" }]', 'product = [ { code = "A", name = "A", supplier = "S", kind = "supply", service_target = 0.9 }, ]'],
)  # fmt: skip
def test_a_text_that_cannot_be_changed_safely_is_refused_or_right(lines: str) -> None:
    text = f"""{lines}
[practice]
name = "Saltgrass"
timezone = "Europe/Amsterdam"
currency = "EUR"
hours = {{ mon = ["08:00-18:00"] }}
[[supplier]]
name = "S"
order_days = ["mon"]
lead_days = 1
delivery_days = ["mon"]
"""
    before = read_practice(text, "x")
    try:
        changed = with_target(text, "A", Decimal("0.8"))
    except Refused as fault:
        assert fault.slug == "practice-edit" and "service_target = 0.8" in fault.todo
    else:
        after = read_practice(changed, "x")
        assert [p.service_target for p in after.products] == [0.8] and after.suppliers == before.suppliers


def test_an_unknown_product() -> None:
    with pytest.raises(Refused) as fault:
        with_target(PRACTICE, "KITT", Decimal("0.9"))
    assert 'did you mean "KIT"?' in fault.value.what
