"""What a changed practice file is told as. The sentences are our own wording, so the expected ones are derived."""

from dataclasses import fields, replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from stockroom.core.changes import KINDS, changes
from stockroom.core.practice import (
    Allowance,
    Closure,
    Fridge,
    Keep,
    Person,
    Practice,
    PriceBreak,
    Procedure,
    Product,
    Shelf,
    Site,
    Supplier,
    TradeItem,
    Use,
)

MORNINGS = (((510, 750),), ((510, 750),), (), (), (), (), ())
CLOSED = (Closure(date(2026, 12, 24), date(2027, 1, 1), "winter"),)

ONE = Practice(
    name="Harbour Dental",
    timezone="Europe/London",
    currency="GBP",
    sites=(Site("", MORNINGS),),
    fridges=(Fridge("Fridge 1", 2000, 8000),),
    shelves=(Shelf("Cupboard"),),
    people=(Person("AB", frozenset({"record"})),),
    suppliers=(Supplier("North Depot", (0,), 3, (1, 2)),),
    products=(Product("CK", "Cold kit", "kit", "North Depot", Keep(2000, 6000), warmup_seconds=86_400),),
    procedures=(Procedure("whitening", 45, uses=(Use("CK", each=1),)),),
)
OTHER = Practice(
    name="Quay Dental",
    timezone="Europe/Paris",
    currency="EUR",
    sites=(Site("", (((510, 750),), (), (), (), (), (), ()), CLOSED),),
    fridges=(Fridge("Fridge 1", 1000, 7000, "West", "twice", 10, 30, 20, 2.5, 60, "F-1", date(2027, 3, 31)),),
    shelves=(Shelf("Cupboard", "West", 15_000, 25_000),),
    people=(Person("AB", frozenset({"record", "decide"})),),
    suppliers=(Supplier("North Depot", (3,), 4, (4,), 840, Decimal(50), CLOSED, False),),
    products=(
        Product(
            *("CK", "Kit, cold", "supply", "South Depot", Keep(2000, 8000), "label", Allowance(9000, 60, "letter")),
            *(108_000, 259_200, True, 4, Decimal("212.00"), 2, 3, 300, 0.9),
            *((TradeItem("09521234543213", 1),), (("SWAB", 4),), ("Keep dark.",), (PriceBreak(10, Decimal(180)),), 0.8),
        ),
    ),
    procedures=(Procedure("whitening", 50, 10, 6, 8, 3.0, (Use("CK", each=2),)),),
    service_target=0.9,
    target_kind="fill",
    use_chance=0.9,
    review_days=14,
    margin_minutes=30,
    rounds=(525, 1005),
    patient_code="P-[0-9]+",
)
"""Differs from ONE in every field but the names by which tables are known."""


def one_field_changed() -> list[tuple[str, str]]:
    """Every field of every value: the table's field in Practice (empty for its own fields) and the field."""
    own = [("", field.name) for field in fields(Practice) if field.name not in KINDS and field.name != "findings"]
    inner = [
        (table, field.name)
        for table, (_, naming) in KINDS.items()
        for field in fields(getattr(ONE, table)[0])
        if field.name != naming
    ]
    return own + inner


@pytest.mark.parametrize(("table", "field"), one_field_changed())
def test_every_field_is_told_of_alone_and_both_ways(table: str, field: str) -> None:
    if table:
        (one,), (other,) = getattr(ONE, table), getattr(OTHER, table)
        changed = replace(ONE, **{table: (replace(one, **{field: getattr(other, field)}),)})
    else:
        changed = replace(ONE, **{field: getattr(OTHER, field)})
    assert changed != ONE
    there, back = changes(ONE, changed), changes(changed, ONE)
    assert len(there) == len(back) >= 1
    assert there != back


def test_the_same_practice_has_no_changes_whatever_the_order_of_its_tables() -> None:
    assert changes(ONE, ONE) == []
    two = replace(ONE, shelves=(Shelf("Cupboard"), Shelf("Drawer")), findings=("anything",))
    assert changes(two, replace(two, shelves=two.shelves[::-1], findings=())) == []


def told(**changed: Any) -> list[str]:
    return changes(ONE, replace(ONE, **changed))


def test_how_changes_are_told() -> None:
    (product,), (fridge,), (supplier,), (procedure,) = ONE.products, ONE.fridges, ONE.suppliers, ONE.procedures
    assert told(products=(replace(product, price_breaks=(PriceBreak(10, Decimal("180.00")),), use_chance=0.9),)) == [
        "product CK: price breaks packs 10, pack price 180.00 added",
        "product CK: use chance none -> 0.9",
    ]
    assert told(suppliers=(replace(supplier, lead_from_orders=False),)) == [
        'supplier "North Depot": lead from orders yes -> no'
    ]
    assert told(products=(replace(product, warmup_seconds=108_000, max_out_seconds=261_000),)) == [
        "product CK: warm-up 24 h -> 30 h",
        "product CK: longest time out none -> 72.5 h",
    ]
    assert told(products=(replace(product, keep=Keep(2000, 5500), contains=(("SWAB", 4),)),)) == [
        "product CK: keep low 2.0 °C, high 6.0 °C -> low 2.0 °C, high 5.5 °C",
        "product CK: contains 4 SWAB added",
    ]
    assert told(fridges=(replace(fridge, settle_minutes=30), Fridge("Fridge 2", 2000, 8000))) == [
        'fridge "Fridge 1": settle 60 min -> 30 min',
        'fridge "Fridge 2" added',
    ]
    assert told(fridges=()) == ['fridge "Fridge 1" removed']
    assert told(suppliers=(replace(supplier, order_days=(0, 3), cutoff=840),)) == [
        'supplier "North Depot": order days mon -> mon, thu',
        'supplier "North Depot": cut-off 24:00 -> 14:00',
    ]
    assert told(sites=(Site("", (MORNINGS[0], (), ((480, 720), (780, 1020)), (), (), (), ()), CLOSED),)) == [
        "practice: hours on Tuesday 08:30-12:30 -> closed",
        "practice: hours on Wednesday closed -> 08:00-12:00, 13:00-17:00",
        "practice: closed Thu 24 Dec 2026 to Fri 1 Jan 2027 (winter) added",
    ]
    assert told(procedures=(replace(procedure, minutes=50),), review_days=1) == [
        "practice: review 7 days -> 1 day",
        "procedure whitening: time 45 min -> 50 min",
    ]
    assert told(people=(Person("AB", frozenset({"record", "decide"})),)) == ["person AB: may record -> decide, record"]


def test_a_practice_that_becomes_a_group() -> None:
    assert told(sites=(Site("West", MORNINGS),), fridges=(Fridge("Fridge 1", 2000, 8000, "West"),)) == [
        "practice: its hours now stand at its sites",
        'site "West" added',
        'fridge "Fridge 1": site none -> West',
    ]
