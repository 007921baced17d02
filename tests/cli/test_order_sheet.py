"""The order on paper: what is proposed or was placed, escaped, on one page, without anybody's name.

The tests' practice on Monday 2 March 2026; expectations are derived from its prices: 100.00 for 4 kits, 5.00 for 50 swabs.
"""

import html
import re

from conftest import PRACTICE, Line

SUPPLIER = "Harbour Supplies"


def cells(cli: Line, name: str = "o.html") -> list[list[str]]:
    text = (cli.folder / name).read_text(encoding="utf-8")
    rows = re.findall(r"<tr.*?>(.*?)</tr>", text, re.DOTALL)
    return [
        [html.unescape(re.sub(r"<.*?>", " ", c)).strip() for c in re.findall(r"<td.*?>(.*?)</td>", r)] for r in rows
    ]


def test_the_sheet_of_an_order_that_was_placed(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=12", "SWAB=75")
    said = cli("reorder", "sheet", "o-1", "--out", "o.html", "--json")
    assert said.code == 0
    (sheet,) = said.json["sheets"]
    assert (sheet["order"], sheet["state"], sheet["needed_by"], sheet["total"]) == ("O-1", "open", "2026-03-04", 307.5)
    page = (cli.folder / "o.html").read_text(encoding="utf-8")
    assert "<h1>Order O-1</h1>" in page and "Saltgrass Dental" in page and "Wed 4 Mar 2026" in page
    rows = cells(cli)
    assert rows[1][:1] == ["KIT"] and rows[1][2:] == ["3", "4", "12", "100.00", "300.00"]
    assert "keep at 2.0 to 6.0 °C; 300 days left are usual" in rows[1][1]
    assert rows[2] == ["SWAB", "Swab", "1.5", "50", "75", "5.00", "7.50"]
    assert rows[3] == ["Total", "307.50"]
    assert ["confirmation number", "", "delivery promised for", ""] in rows
    assert any(r[0] == "ordered on, initials" and not r[1] for r in rows if r)
    assert not re.search(r"https?:|<script|<link|<img", page)
    # prices and packs that change later do not change what was ordered
    cli.file(
        "p2.toml",
        PRACTICE.replace("pack_price = 100.0", "pack_price = 111.0").replace("pack_size = 4", "pack_size = 6"),
    )
    later = {"now": "2026-03-03T09:00:00+00:00"}
    cli.ok("practice", "load", "p2.toml", "--yes", **later)
    assert cli.ask("reorder", "sheet", "O-1", "--out", "o.html", **later)["sheets"][0]["total"] == 307.5


def test_what_is_proposed_and_nothing_where_nothing_is(cli: Line) -> None:
    listed = cli.ask("reorder", "list")["suppliers"][0]
    (sheet,) = cli.ask("reorder", "sheet", "harbour supplies", "--out", "o.html")["sheets"]
    assert (sheet["order"], sheet["state"], sheet["placed_at"]) == (None, "proposed", None)
    assert (sheet["order_by"], sheet["needed_by"]) == (listed["order_by"], listed["arrives"])
    assert [(x["product"], x["quantity"]) for x in sheet["lines"]] == [
        (x["product"], x["order_quantity"]) for x in listed["lines"]
    ]
    assert "not yet ordered" in (cli.folder / "o.html").read_text(encoding="utf-8")
    cli.ok("reorder", "place", SUPPLIER)
    said = cli("reorder", "sheet", SUPPLIER, "--out", "none.html", "--json")
    assert (said.code, said.json["file"], said.json["sheets"]) == (0, None, [])
    assert not (cli.folder / "none.html").exists()
    assert "no sheet" in cli("reorder", "sheet", SUPPLIER, "--out", "none.html").out


def test_an_order_that_was_cancelled_says_so_on_paper(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=4")
    cli.ok("reorder", "cancel", "O-1", "--why", "twice")
    assert cli("reorder", "sheet", "O-1", "--out", "o.html").code == 1
    assert "CANCELLED" in (cli.folder / "o.html").read_text(encoding="utf-8")


def test_what_people_typed_is_escaped(line) -> None:
    text = PRACTICE.replace('"Harbour Supplies"', '"<b>&amp; Sons"').replace(
        '"Cold kit"', '"<script>alert(1)</script>"'
    )
    cli = line(text.replace('"Saltgrass Dental"', '"Salt & \\"Grass\\" <i>"').replace("pack_price = 100.0\n", ""))
    cli.ok("reorder", "place", "<b>&amp; Sons", "KIT=4", "SWAB=50")
    assert cli("reorder", "sheet", "O-1", "--out", "o.html").code == 0
    page = (cli.folder / "o.html").read_text(encoding="utf-8")
    assert "<script" not in page and "<b>&amp; Sons" not in page and "<i>" not in page
    assert "&lt;b&gt;&amp;amp; Sons" in page and "Salt &amp; " in page
    assert cells(cli)[3] == ["Total without KIT (no price on file)", "5.00"]
    # a product that a practice file has no more: of later, and then of back then
    kit = text[text.index('[[product]]\ncode = "KIT"') : text.index('[[product]]\ncode = "SWAB"')]
    cli.file("p2.toml", text.replace(kit, "").replace('{ product = "KIT", each = 1 }, ', ""))
    cli.ok("practice", "load", "p2.toml", "--yes", now="2026-03-03T09:00:00+00:00")
    later = {"now": "2026-03-03T10:00:00+00:00"}
    assert cli("reorder", "sheet", "O-1", "--out", "o.html", **later).code == 0
    assert cells(cli)[1][2:] == ["1", "4", "4", "", ""]
    cli.ok("practice", "load", "p2.toml", "--yes", "--at", "2026-03-01T09:00", **later)
    assert cli("reorder", "sheet", "O-1", "--out", "o.html", **later).code == 0
    assert cells(cli)[1] == ["KIT", "", "", "", "4", "", ""]


def test_names_that_there_are_not(cli: Line) -> None:
    cli.ok("reorder", "place", SUPPLIER, "KIT=4")
    for name, said in (("Harbor Supplies", 'did you mean "Harbour Supplies"'), ("O-2", 'no order "O-2"')):
        told = cli("reorder", "sheet", name, "--out", "o.html")
        assert (told.code, told.out) == (3, "")
        assert said in told.err
    assert cli("reorder", "sheet", "O-1").code == 2
    assert cli("reorder", "sheet", "O-1", "--out", "no/such/o.html").code == 3
