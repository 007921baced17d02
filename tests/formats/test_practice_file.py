"""The practice file. The format is this project's own, so what is expected here is derived from its description."""

import tomllib
from dataclasses import MISSING, fields
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

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
from stockroom.errors import Refused
from stockroom.formats.practice_file import decode_practice, read_practice
from stockroom.formats.practice_keys import TABLES
from stockroom.formats.practice_problems import key_lines

WHOLE = """\
# [[product]] in a comment is no table
[practice]
name = "Saltmarsh Lane Dental"
timezone = "Europe/London"
currency = "GBP"
service_target = 0.9
target_kind = "fill"
use_chance = 0.9
review_days = 14
margin_minutes = 30
rounds = ["16:45", "08:45"]
patient_code = "P-[0-9]+"
hours = { mon = ["13:30-17:30", "08:30-12:30"], Tuesday = ["08:30-24:00"] }
closed = [{ from = 2026-12-24, to = 2027-01-01, why = "winter closure" }, 2026-05-04]

[[fridge]]
name = "Fridge 1"
low = 2.0
high = 8
checks = "twice"
logger_minutes = 10
max_gap_minutes = 30
settle_minutes = 20
gap_hold_hours = 2.5
capacity = 60
probe = { serial = "F-0001", calibration_due = 2027-03-31 }

[[shelf]]
name = "Cupboard"
low = 15.0
high = 25.0

[[person]]
initials = "AB"
may = ["record", "decide"]

[[supplier]]
name = "North Depot"
order_days = ["mon", "thu"]
cutoff = "14:00"
lead_days = 3
delivery_days = ["tue", "wed"]
minimum_order = 50
closed = 2026-12-28
lead_from_orders = false

[[product]]
code = "CK"
name = "Cold whitening kit"
supplier = "North Depot"
kind = "kit"
keep = { low = 2.0, high = 6.0 }
source = "label, read 2026-01-05 by AB"
allowance = { up_to = 8.0, minutes = 720, source = "maker's letter of 2026-01-12" }
warmup_hours = 30
max_out_hours = 72.5
returnable = true
pack_size = 4
pack_price = 212.00
price_breaks = [{ packs = 10, pack_price = 180.00 }, { packs = 20, pack_price = 170 }]
minimum_packs = 2
space = 3
shelf_life_days = 300
service_target = 0.98
use_chance = 0.8
gtin = [{ code = "9521234543213", units = 1 }, { code = "A99912345", units = 4 }]
contains = { SWAB = 4 }
caution = ["Keep away from light."]

[[product]]
code = "SWAB"
name = "Swab"
supplier = "North Depot"
kind = "supply"

[[procedure]]
code = "whitening"
minutes = 45
minutes_per_cycle = 10
cycles = 6
max_cycles = 8
expected_per_week = 3
uses = [{ product = "CK", each = 1 }, { product = "SWAB", per_cycles = 2, spare = 1 }]
"""

PLAIN = """\
[practice]
name = "Harbour Dental"
timezone = "Europe/Paris"
currency = "eur"
hours = { mon = ["08:30-12:30"] }
"""

GROUP = (
    PLAIN
    + """\
closed = [2026-12-25]

[[site]]
name = "East"
hours = { tue = ["09:00-12:00"] }
closed = [2026-05-01]

[[site]]
name = "West"

[[fridge]]
name = "Fridge E"
site = "East"
low = 2
high = 8
"""
)


def problems(text: str) -> list[str]:
    """What is said about a bad file, without the heading of a list."""
    with pytest.raises(Refused) as refusal:
        read_practice(text, "practice.toml")
    assert refusal.value.slug == "practice-file"
    lines = refusal.value.what.split("\n")
    return lines[1:] if len(lines) > 1 else lines


def line_with(text: str, part: str) -> int:
    """The line, from 1, on which a part of a text stands first."""
    return text[: text.index(part)].count("\n") + 1


def test_a_whole_file() -> None:
    practice = read_practice(WHOLE, "practice.toml")
    week = (((510, 750), (810, 1050)), ((510, 1440),), (), (), (), (), ())
    winter = Closure(date(2026, 12, 24), date(2027, 1, 1), "winter closure")
    assert practice == Practice(
        name="Saltmarsh Lane Dental",
        timezone="Europe/London",
        currency="GBP",
        sites=(Site("", week, (Closure(date(2026, 5, 4), date(2026, 5, 4)), winter)),),
        fridges=(Fridge("Fridge 1", 2000, 8000, "", "twice", 10, 30, 20, 2.5, 60, "F-0001", date(2027, 3, 31)),),
        shelves=(Shelf("Cupboard", "", 15_000, 25_000),),
        people=(Person("AB", frozenset({"record", "decide"})),),
        suppliers=(
            Supplier(
                *("North Depot", (0, 3), 3, (1, 2), 840, Decimal(50)),
                closed=(Closure(date(2026, 12, 28), date(2026, 12, 28)),),
                lead_from_orders=False,
            ),
        ),
        products=(
            Product(
                code="CK",
                name="Cold whitening kit",
                kind="kit",
                supplier="North Depot",
                keep=Keep(2000, 6000),
                source="label, read 2026-01-05 by AB",
                allowance=Allowance(8000, 720, "maker's letter of 2026-01-12"),
                warmup_seconds=30 * 3600,
                max_out_seconds=72 * 3600 + 1800,
                returnable=True,
                pack_size=4,
                pack_price=Decimal("212.00"),
                minimum_packs=2,
                space=3,
                shelf_life_days=300,
                service_target=0.98,
                trade_items=(TradeItem("09521234543213", 1), TradeItem("A99912345", 4)),
                contains=(("SWAB", 4),),
                caution=("Keep away from light.",),
                price_breaks=(PriceBreak(10, Decimal("180.00")), PriceBreak(20, Decimal(170))),
                use_chance=0.8,
            ),
            Product("SWAB", "Swab", "supply", "North Depot"),
        ),
        procedures=(
            Procedure("whitening", 45, 10, 6, 8, 3.0, (Use("CK", each=1), Use("SWAB", per_cycles=2, spare=1))),
        ),
        service_target=0.9,
        target_kind="fill",
        use_chance=0.9,
        review_days=14,
        margin_minutes=30,
        rounds=(525, 1005),
        patient_code="P-[0-9]+",
    )
    assert [finding for finding in practice.findings if "Fridge 1" not in finding] == []


def test_the_whole_file_names_every_key_and_every_key_fills_a_field() -> None:
    """So that no key of the format is left unread, and no field of the values without a key."""
    raw = tomllib.loads(WHOLE)
    for kind, table in TABLES.items():
        if kind == "site":
            continue
        tables = [raw[kind]] if kind == "practice" else raw[kind]
        assert {key for one in tables for key in one} == set(table.keys) - {"site"}
    practice = read_practice(WHOLE, "practice.toml")
    for one in (practice, practice.fridges[0], practice.shelves[0], practice.suppliers[0], practice.products[0]):
        left = [f.name for f in fields(one) if f.default is not MISSING and getattr(one, f.name) == f.default]
        assert set(left) <= {"site", "findings"}


def test_defaults() -> None:
    practice = read_practice(PLAIN, "practice.toml")
    assert practice == Practice(
        "Harbour Dental", "Europe/Paris", "EUR", (Site("", (((510, 750),), (), (), (), (), (), ())),)
    )
    assert practice.findings == ()
    more = PLAIN + '[[procedure]]\ncode = "x"\nminutes = 10\ncycles = 6\n'
    assert read_practice(more, "practice.toml").procedures[0].max_cycles == 6


def test_a_group_and_what_its_sites_take_over() -> None:
    east, west = read_practice(GROUP, "practice.toml").sites
    assert east.name == "East"
    assert east.hours[1] == ((540, 720),)
    assert east.hours[0] == ()
    assert [closure.first for closure in east.closed] == [date(2026, 12, 25), date(2026, 5, 1)]
    assert west.hours[0] == ((510, 750),)
    assert [closure.first for closure in west.closed] == [date(2026, 12, 25)]
    assert read_practice(GROUP, "practice.toml").site_of("Fridge E") == "East"


def test_sites_that_are_wrong() -> None:
    assert problems(GROUP.replace('site = "East"\n', "")) == [
        f'missing key "site" in [[fridge]] Fridge E (practice.toml line {line_with(GROUP, "[[fridge]]")})'
    ]
    assert problems(GROUP.replace('site = "East"', 'site = "Eastt"')) == [
        f'site = "Eastt" in [[fridge]] Fridge E (practice.toml line {line_with(GROUP, "site = ")}): '
        'there is no [[site]] "Eastt"; did you mean "East"?'
    ]
    no_hours = GROUP.replace('hours = { mon = ["08:30-12:30"] }\n', "")
    assert problems(no_hours) == [
        f'missing key "hours" in [[site]] West (practice.toml line {line_with(no_hours, "[[site]]") + 5})'
    ]
    assert problems(PLAIN.replace("hours", "hour")) == [
        'missing key "hours" in [practice] (practice.toml line 1)',
        'unknown key "hour" in [practice] (practice.toml line 5); did you mean "hours"?',
    ]


def test_an_unknown_key_is_refused_in_these_words() -> None:
    text = WHOLE.replace("warmup_hours", "warmup_hour")
    line = line_with(text, "warmup_hour")
    said = f'unknown key "warmup_hour" in [[product]] CK (practice.toml line {line}); did you mean "warmup_hours"?'
    assert problems(text) == [said]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        # unknown and missing
        ("[[shelf]]", "[[shelv]]", ['unknown key "shelv"', 'did you mean "shelf"?']),
        ("high = 6.0 }", "hihg = 6.0 }", ['"keep.hihg" in [[product]] CK', '"high"?']),
        ('supplier = "North Depot"\nkind = "kit"', 'kind = "kit"', ['missing key "supplier" in [[product]] CK']),
        ("lead_days = 3\n", "", ['missing key "lead_days" in [[supplier]] North Depot']),
        ('may = ["record", "decide"]', "", ['missing key "may" in [[person]] AB']),
        (", units = 1", "", ['missing key "gtin[1].units" in [[product]] CK']),
        # wrong types
        ("pack_size = 4", 'pack_size = "4"', ['pack_size = "4"', "a whole number, without quotes"]),
        ("pack_size = 4", "pack_size = true", ["pack_size = true", "a whole number"]),
        ("pack_size = 4", "pack_size = 4.0", ["pack_size = 4.0", "a whole number"]),
        ("low = 2.0\n", "low = true\n", ["low = true in [[fridge]] Fridge 1", "a number"]),
        ("returnable = true", "returnable = 1", ["returnable = 1", "true or false"]),
        ('name = "Swab"', "name = 3", ["name = 3 in [[product]] SWAB", "text"]),
        ('cutoff = "14:00"', "cutoff = 14:00:00", ["cutoff = 14:00:00", '"14:00"']),
        ("2027-03-31", '"2027-03-31"', ["probe.calibration_due", "without quotes"]),
        ("2027-03-31", "2027-03-31T00:00:00", ["probe.calibration_due", "without a time"]),
        ('caution = ["Keep away from light."]', 'caution = "Keep"', ["caution", "a list"]),
        ("keep = { low = 2.0, high = 6.0 }", "keep = 6", ["keep = 6", "{ low = …, high = … }"]),
        # impossible values
        ("low = 2.0\n", "low = 9.5\n", ["low = 9.5 in [[fridge]] Fridge 1", "is above high (8.0 °C)"]),
        ("low = 15.0", "low = 30.0", ["low = 30.0 in [[shelf]] Cupboard", "is above high (25.0 °C)"]),
        ("{ low = 2.0, high", "{ low = 7.0, high", ["keep.low = 7.0", "is above high (6.0 °C)"]),
        ("high = 8\n", "high = 80\n", ["high = 80", "from -60 to 60"]),
        ("pack_size = 4", "pack_size = 0", ["pack_size = 0", "1 or more"]),
        ("pack_price = 212.00", "pack_price = -1", ["pack_price = -1"]),
        ("space = 3", "space = -3", ["space = -3"]),
        ("{ packs = 10,", "{ packs = 1,", ["price_breaks[1].packs = 1", "2 or more"]),
        ("{ packs = 10,", "{ packs = 20,", ["price_breaks", "names a number of packs twice"]),
        ("= 180.00", "= 212.00", ["price_breaks", "a pack must cost less than in a smaller order"]),
        ("pack_price = 170 }", "pack_price = 180 }", ["price_breaks", "a pack must cost less"]),
        ("{ packs = 10, pack_price = 180.00 }", "{ packs = 10 }", ["price_breaks[1].pack_price", "missing"]),
        ("pack_price = 212.00\n", "", ["pack_price", "price_breaks need the price of a pack without them"]),
        ("use_chance = 0.8", "use_chance = 80", ["use_chance = 80", "80 % is 0.8"]),
        ("lead_from_orders = false", 'lead_from_orders = "no"', ["lead_from_orders", "true or false"]),
        ("margin_minutes = 30", "margin_minutes = -1", ["margin_minutes = -1", "0 or more"]),
        ("service_target = 0.98", "service_target = 1", ["service_target = 1 in [[product]] CK", "below 1"]),
        ("service_target = 0.98", "service_target = 98", ["98 % is 0.98"]),
        ("service_target = 0.9\n", "service_target = 0.0\n", ["service_target = 0.0 in [practice]"]),
        ("service_target = 0.9\n", "service_target = nan\n", ["service_target = NaN"]),
        ("warmup_hours = 30", "warmup_hours = 1e4000", ["warmup_hours = 1E+4000"]),
        ("warmup_hours = 30", "warmup_hours = inf", ["warmup_hours"]),
        ("pack_size = 4", "pack_size = 0x" + "f" * 9000, ["pack_size = a number of more than 30 digits"]),
        ('"Europe/London"', '"Europe/Londn"', ['did you mean "Europe/London"?']),
        ('"Europe/London"', '"localtime"', ["there is no such time zone"]),
        ('"Europe/London"', '"../../etc/passwd"', ["there is no such time zone"]),
        ('"GBP"', '"pounds"', ['currency = "pounds"', "three letters"]),
        ('order_days = ["mon"', 'order_days = ["mno"', ['order_days[1] = "mno"', "weekday", '"mon"?']),
        ('Tuesday = ["', 'Tusday = ["', ["hours.Tusday", '"tuesday"?']),
        ('Tuesday = ["', 'Mon = ["', ["hours.Mon", "the same day"]),
        ('"13:30-17:30", "08:30-12:30"', '"12:00-17:30", "08:30-12:30"', ["hours.mon[2]", "overlaps"]),
        ('"13:30-17:30"', '"17:30-13:30"', ['hours.mon[1] = "17:30-13:30"', "ends before it begins"]),
        ('"08:30-24:00"', '"08:30-24:01"', ['hours.Tuesday[1] = "08:30-24:01"']),
        ("to = 2027-01-01", "to = 2026-12-01", ["closed[1].to = 2026-12-01", "before from (2026-12-24)"]),
        ("2026-05-04", "1926-05-04", ["closed[2]", "1990"]),
        ("max_cycles = 8", "max_cycles = 5", ["max_cycles = 5 in [[procedure]] whitening", "below cycles (6)"]),
        ("max_out_hours = 72.5", "max_out_hours = 29", ["max_out_hours = 29", "below warmup_hours (30)"]),
        ("logger_minutes = 10", "logger_minutes = 40", ["logger_minutes = 40", "max_gap_minutes (30)"]),
        ("up_to = 8.0", "up_to = 6.0", ["allowance", "above the high of keep (6.0 °C)"]),
        ("{ low = 2.0, high = 6.0 }", "{ low = 2.0 }", ["keep", "the allowance needs its high"]),
        ("keep = { low = 2.0, high = 6.0 }\n", "", ['missing key "keep"', "allowance"]),
        ("keep = { low = 2.0, high = 6.0 }", "keep = {}", ["keep = { }", "low or high"]),
        ("P-[0-9]+", "P-[0-9", ["patient_code", "not a regular expression"]),
        ('"9521234543213"', '"9521234543214"', ["gtin[1].code", "last digit should be 3"]),
        ("{ SWAB = 4 }", "{ SWAB = 0 }", ["contains.SWAB = 0", "1 or more"]),
        ('"CK", each = 1', '"CK"', ["uses[1].product", "uses none of it"]),
        ('"SWAB", per', '"CK", per', ["uses", "a product twice"]),
        ('initials = "AB"', 'initials = "A. Person"', ["initials", "not a name"]),
        ('kind = "supply"', 'kind = "suply"', ['kind = "suply"', 'did you mean "supply"?']),
        ('checks = "twice"', 'checks = "daily"', ['"minmax", "twice", "logger"']),
        ('name = "Swab"', 'name = "S\\u001b[2Jwab"', ["\\u001b[2J", "U+001B"]),
        ('"08:45"]', '"16:45"]', ["rounds[2]", "twice"]),
        # names
        ('kind = "kit"', 'kind = "kit" # x\n', []),
        ('"North Depot"\nkind = "supply"', '"North Dept"\nkind = "supply"', ["[[product]] SWAB", '"North Depot"?']),
        ('product = "SWAB"', 'product = "SWAP"', ["uses[2].product", 'no [[product]] "SWAP"; did you mean "SWAB"?']),
        ("{ SWAB = 4 }", "{ SWAP = 4 }", ["contains.SWAP = 4", 'did you mean "SWAB"?']),
        ("{ SWAB = 4 }", "{ CK = 4 }", ["contains.CK = 4", "only supplies"]),
        ("high = 8\n", 'high = 8\nsite = "East"\n', ['there is no [[site]] "East"']),
        ('"Cupboard"', '"fridge 1"', ['name = "fridge 1" in [[shelf]]', "already on line 17"]),
        ('code = "SWAB"', 'code = "ck"', ['code = "ck"', "already on line"]),
        ('"A99912345"', '"09521234543213"', ["gtin[2].code", "already on line"]),
        ('"Cupboard"', '"Used"', ['name = "Used"', "a word of the records"]),
        ('"Cupboard"', '"out"', ['name = "out"', "a word of the records"]),
        ('"Cupboard"', '"p-12"', ['name = "p-12"', "a kit that is out"]),
        ('code = "whitening"', 'code = "a/b"', ['code = "a/b"', "hold / or ="]),
        # shapes
        ("[[fridge]]", "[fridge]", ["fridge = { … }", "[[fridge]]"]),
        ("[practice]", "[[practice]]", ["practice = [ … ]", "[practice], once"]),
    ],
)
def test_what_is_wrong_is_refused_with_key_value_table_and_line(old: str, new: str, said: list[str]) -> None:
    assert old in WHOLE
    text = WHOLE.replace(old, new, 1)
    if not said:
        assert read_practice(text, "practice.toml") == read_practice(WHOLE, "practice.toml")
        return
    found = problems(text)
    assert any(all(part in problem for part in said) for problem in found), found
    assert all("(practice.toml line " in problem for problem in found)


def test_the_line_is_that_of_the_key_also_inside_lists() -> None:
    text = WHOLE.replace("uses = [{", 'uses = [ # "SWAB"\n{').replace("each = 1 }, {", "each = 1 },\n{")
    text = text.replace("spare = 1", "spare = -1")
    assert problems(text) == [
        f"uses[2].spare = -1 in [[procedure]] whitening (practice.toml line {line_with(text, 'spare')}): give 0 or more"
    ]


def test_everything_is_told_at_once_by_line_up_to_ten() -> None:
    text = WHOLE.replace("pack_size = 4", "pack_size = 0").replace("2026-12-28", "0").replace('"GBP"', '"x"')
    found = problems(text)
    assert [problem.split(" ")[0] for problem in found] == ["currency", "closed", "pack_size"]
    many = PLAIN + "".join(f"bad{n} = {n}\n" for n in range(14))
    assert len(problems(many)) == 11
    assert problems(many)[-1] == "and 4 more"


def test_a_wrong_key_does_not_cause_further_complaints() -> None:
    assert len(problems(WHOLE.replace("high = 6.0 }", "high = 99 }"))) == 1
    assert len(problems(WHOLE.replace("lead_days = 3", "lead_days = -3"))) == 1
    assert len(problems(WHOLE.replace("cycles = 6", 'cycles = "6"'))) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[practice]\nname = Saltmarsh\n", "practice.toml line 2, column 8"),
        ("[practice]\nname = 'a'\nname = 'b'\n", "practice.toml line 3"),
        ("a = " + "[" * 5000, "nested too deeply"),
        ("a = " + "9" * 5000, "a number that is too long"),
        ("a = 1e" + "9" * 30, "a number that is too long"),
        ("[practice\n", "practice.toml"),
    ],
)
def test_text_that_is_not_toml_is_refused(text: str, said: str) -> None:
    with pytest.raises(Refused) as refusal:
        read_practice(text, "practice.toml")
    assert refusal.value.slug == "practice-syntax"
    assert said in refusal.value.what


def test_an_empty_file_lacks_the_practice() -> None:
    assert problems("") == ["missing table [practice] (practice.toml line 1)"]


def test_decoding() -> None:
    assert decode_practice("name = 'é'\r\n".encode("utf-8-sig"), "x") == "name = 'é'\r\n"
    assert read_practice("\ufeff" + WHOLE.replace("\n", "\r\n"), "x") == read_practice(WHOLE, "x")
    with pytest.raises(Refused) as refusal:
        decode_practice(b"a = 1\nb = '\xe9'\n", "practice.toml")
    assert "practice.toml line 2" in refusal.value.what
    with pytest.raises(Refused):
        decode_practice(WHOLE.encode("utf-16"), "practice.toml")
    with pytest.raises(Refused):
        decode_practice(b"#" * 1_000_001, "practice.toml")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("", "", "Fridge 1 alarms at 8.0 °C but CK is kept to 6.0 °C"),
        ("low = 2.0\n", "low = 1.0\n", "Fridge 1 alarms at 1.0 °C but CK is kept to 2.0 °C"),
        ('source = "label, read 2026-01-05 by AB"\n', "", "CK is kept cold but has no source"),
        ("max_out_hours = 72.5\n", "", "CK has no max_out_hours: ask the maker"),
        (', { product = "SWAB", per_cycles = 2, spare = 1 }', "", "SWAB is used by no procedure"),
        ("expected_per_week = 3\n", "", "procedure whitening has no expected_per_week"),
        ('kind = "supply"', 'kind = "supply"\nwarmup_hours = 2', "SWAB is a supply, so its warmup_hours"),
        ('checks = "twice"\nlogger_minutes = 10', 'checks = "logger"', "Fridge 1 is checked by its logger only"),
    ],
)
def test_what_is_worth_a_warning(old: str, new: str, said: str) -> None:
    assert old in WHOLE
    findings = read_practice(WHOLE.replace(old, new, 1), "practice.toml").findings
    assert len([finding for finding in findings if finding.startswith(said)]) == 1
    before = read_practice(WHOLE, "practice.toml").findings
    assert len(before) == 1
    assert (said in before[0]) == (old == "")


def test_a_kit_that_warms_up_without_a_keep_range_is_worth_a_warning() -> None:
    text = WHOLE[: WHOLE.index("keep = ")] + WHOLE[WHOLE.index("warmup_hours") :]
    assert [finding.split(":")[0] for finding in read_practice(text, "x").findings] == [
        "CK warms up but has no keep range"
    ]


def test_a_cold_product_without_a_fridge_is_worth_a_warning() -> None:
    text = WHOLE[: WHOLE.index("[[fridge]]")] + WHOLE[WHOLE.index("[[shelf]]") :]
    assert read_practice(text, "x").findings == ("CK must be kept cold, but there is no [[fridge]]",)


def test_a_fridge_within_the_keep_range_is_not() -> None:
    assert read_practice(WHOLE.replace("high = 8\n", "high = 6.0\n"), "x").findings == ()


# --- laws ---

KEYS = st.sampled_from(["a", "b-1", '"q . ]"', "'#'", '"\\u0063"', "low"])
SCALARS = st.sampled_from(
    [
        *("1", "-2.5", "true", "inf", "2026-01-02", "2026-01-02 10:00:00", "14:00:00", '"x"', '"a # [b]\\" ="', "''"),
        *("'''l\n[[x]]\n'''", '"""q\n\\"""" a = 1\n"""', "''''''", '""""a"""""'),
    ]
)


def listed(values: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.lists(values, max_size=3).map(lambda items: "[ # ]\n" + ",\n".join(items) + " ]")


def braced(values: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    pairs = st.lists(st.tuples(KEYS, values), max_size=3, unique_by=lambda pair: pair[0])
    return pairs.map(lambda items: "{ " + ", ".join(f"{key} = {value}" for key, value in items) + " }")


VALUES = st.recursive(SCALARS, lambda inner: listed(inner) | braced(inner), max_leaves=6)
LINES = st.one_of(
    st.builds("{} = {}  # c = 1".format, KEYS, VALUES),
    st.builds("{} . {} = {}".format, KEYS, KEYS, SCALARS),
    st.builds("[{}]".format, KEYS),
    st.builds("[[ {} ]] # x".format, KEYS),
    st.builds("[[{}.{}]]".format, KEYS, KEYS),
    st.builds("[{}.{}]".format, KEYS, KEYS),
    st.just(""),
)


def paths(value: Any, around: tuple[Any, ...] = ()) -> set[tuple[Any, ...]]:
    """Every path in what the standard reader gives."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return {(*around, key) for key, _ in items}.union(*(paths(inner, (*around, key)) for key, inner in items))


@given(st.lists(LINES, max_size=12))
def test_law_the_walk_for_lines_sees_what_the_standard_reader_sees(lines: list[str]) -> None:
    """The standard library's reader is the oracle for the paths; each path's line is within the text."""
    kept: list[str] = []
    for line in lines:  # leave out what would contradict an earlier line
        try:
            tomllib.loads("\n".join([*kept, line]))
        except tomllib.TOMLDecodeError:
            continue
        kept.append(line)
    text = "\n".join(kept)
    found = key_lines(text)
    assert set(found) >= paths(tomllib.loads(text))
    assert all(1 <= line <= text.count("\n") + 1 for line in found.values())


def test_lines_of_one_text() -> None:
    text = 'a.b = 1\n"c d" = """x\n[e]\n""" # f\n[[g]]\nh = [\n1, {i = 2}]\n[[g]]\n[g.j]\nk = 1\n'
    assert key_lines(text) == {
        ("a",): 1,
        ("a", "b"): 1,
        ("c d",): 2,
        ("g",): 5,
        ("g", 0): 5,
        ("g", 0, "h"): 6,
        ("g", 0, "h", 0): 7,
        ("g", 0, "h", 1): 7,
        ("g", 0, "h", 1, "i"): 7,
        ("g", 1): 8,
        ("g", 1, "j"): 9,
        ("g", 1, "j", "k"): 10,
    }


ASSIGNED = [n for n, line in enumerate(WHOLE.split("\n")) if " = " in line and not line.startswith("#")]


@given(st.sampled_from(ASSIGNED), VALUES)
def test_law_any_value_under_any_key_is_read_or_refused(place: int, value: str) -> None:
    """Nothing else may leave the reading of a file: no traceback, nothing unprintable in a message."""
    lines = WHOLE.split("\n")
    lines[place] = f"{lines[place].split(' = ')[0]} = {value}"
    try:
        read_practice("\n".join(lines), "practice.toml")
    except Refused as refusal:
        assert refusal.slug in ("practice-file", "practice-syntax")
        assert all(line.isprintable() for line in refusal.what.split("\n"))


@given(st.text(max_size=200) | st.binary(max_size=200))
def test_law_any_text_or_bytes_are_read_or_refused(data: str | bytes) -> None:
    with pytest.raises(Refused):  # none of these is a practice: its four keys do not come by chance
        read_practice(data if isinstance(data, str) else decode_practice(data, "x"), "x")
