"""`reorder list` says how many of each procedure the stock covers, and what is scarcest. Derived: counted by hand."""

from conftest import PRACTICE, Line

MORE = """
[[procedure]]
code = "long"
minutes = 60
cycles = 8
uses = [ { product = "KIT", each = 1 }, { product = "SWAB", per_cycles = 2, spare = 1 } ]
[[procedure]]
code = "look"
minutes = 20
"""


def received(cli: Line, product: str, n: int, into: str) -> None:
    cli.ok(
        "stock", "receive", product, "--lot", "A1", "--expiry", "2026-12-31", "--quantity", n, "--into", into,
        "--at", "2026-03-02T08:30",
    )  # fmt: skip


def test_the_bottleneck_is_named_now_and_with_this_order(line) -> None:
    cli = line(PRACTICE + MORE)
    received(cli, "KIT", 5, "Cold one")
    received(cli, "SWAB", 3, "Cupboard")
    said = cli.ask("reorder", "list")
    # six cycles take the kit's own four swabs; eight take five, one from the cupboard
    assert [(c["procedure"], c["now"], c["bottleneck"]) for c in said["coverage"]] == [
        ("white", 5, ["KIT"]),
        ("long", 3, ["SWAB"]),
    ]
    (row,) = said["suppliers"][0]["lines"]
    assert (row["product"], row["order_quantity"]) == ("KIT", 4)
    assert [(c["procedure"], c["with_order"], c["bottleneck_with_order"]) for c in said["coverage"]] == [
        ("white", 9, ["KIT"]),
        ("long", 3, ["SWAB"]),
    ]
    assert [j["procedure"] for j in said["joint"]] == ["white", "long"]
    # what is held is not there, and comes back with the decision
    cli.ok("stock", "quarantine", "KIT", "A1", "--quantity", 4, "--why", "label")
    assert cli.ask("reorder", "list")["coverage"][0]["now"] == 1
    shown = cli("reorder", "list").out.splitlines()
    assert any(x.split()[:3] == ["white", "1", "KIT"] for x in shown)
