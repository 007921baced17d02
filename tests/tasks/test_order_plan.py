"""What to order, from real databases: the sum of a line by what was on record at an instant, and orders' own lives.

One practice for all: staffed Monday to Friday 08:00 to 16:00 in London, in winter, so that local time is UTC. An order
of Monday 2 March comes on Friday the 6th; the one after it on Friday the 13th at 16:00, and its kits are warm 30 h
later, on Saturday the 14th at 22:00: ten staffed days, two weeks, from the Monday on.
"""

from datetime import UTC, date, datetime

import numpy as np
import pytest
from scipy import stats

from stockroom.core.counts import chance_at_most, poisson
from stockroom.errors import Refused
from stockroom.store import entries
from stockroom.tasks import book, setup
from stockroom.tasks.act import Act
from stockroom.tasks.count_stock import Counted, stocktake
from stockroom.tasks.finish import Outcome, done
from stockroom.tasks.hold_stock import quarantine
from stockroom.tasks.move_stock import move, use
from stockroom.tasks.order_book import order_book as orders_now
from stockroom.tasks.place_order import end, expect, place
from stockroom.tasks.receive import Delivery, receive
from stockroom.tasks.reorder import explained, order_list
from stockroom.tasks.take_out import take_out

HEAD = """
[practice]
name = "Sandbank Dental"
timezone = "Europe/London"
currency = "GBP"
service_target = 0.95
target_kind = "{kind}"
review_days = 7
{hours}
"""
HOURS = "hours = {{ {} }}".format(", ".join(f'{d} = ["08:00-16:00"]' for d in ("mon", "tue", "wed", "thu", "fri")))
FRIDGE = """
[[fridge]]
name = "Cold"
low = 2.0
high = 8.0
{capacity}
[[shelf]]
name = "Dry"
"""
SUPPLIER = """
[[supplier]]
name = "{name}"
order_days = ["mon", "tue", "wed", "thu", "fri"]
lead_days = 4
delivery_days = ["mon", "tue", "wed", "thu", "fri"]
{more}
"""
KIT = """
[[product]]
code = "{code}"
name = "Cold kit"
supplier = "Cold Van"
kind = "kit"
keep = {{ low = 2.0, high = 8.0 }}
source = "label"
warmup_hours = 30
max_out_hours = 72
pack_size = {pack}
pack_price = 212.00
{more}
"""
PROCEDURES = """
[[procedure]]
code = "planned"
minutes = 30
uses = [ {{ product = "CK", each = 1 }} ]
[[procedure]]
code = "whitening"
minutes = 45
expected_per_week = {week}
uses = [ {{ product = "CK", each = 1 }} ]
"""


def practice(*, week=1.2, pack=4, capacity="capacity = 34", kit="", supplier="", kind="cycle", extra=""):
    return (
        HEAD.format(kind=kind, hours=HOURS)
        + FRIDGE.format(capacity=capacity)
        + SUPPLIER.format(name="Cold Van", more=supplier)
        + KIT.format(code="CK", pack=pack, more=kit)
        + PROCEDURES.format(week=week)
        + extra
    )


def t(text):
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


MONDAY = t("2026-03-02T07:00")


class Room:
    """A practice in a database, and somebody who records in it."""

    def __init__(self, where, text):
        self.store, _ = setup.init(where, self.act("2026-01-05T08:00"), text.encode(), "practice.toml")
        self.patients = 100

    def act(self, at, site=None):
        when = at if isinstance(at, int) else t(at)
        return Act("AB", when, when, site)

    def booked(self, starts, procedure="planned", at="2026-02-27T09:00", site=None):
        for start in starts:
            self.patients += 1
            book.add(self.store, self.act(at, site), procedure, t(start), f"P-{self.patients}", None)

    def came(self, n, product="CK", lot="L1", expiry="2027-01-31", at="2026-02-27T10:00", into="Cold", order=None):
        delivery = Delivery(product, lot, date.fromisoformat(expiry), into, quantity=n, order=order)
        return receive(self.store, self.act(at), delivery)

    def plan(self, at=MONDAY, site=None):
        return order_list(self.store, at, site)

    def line(self, at=MONDAY, product="CK"):
        return self.planned(at, product).line

    def planned(self, at=MONDAY, product="CK"):
        return next(p for s in self.plan(at).suppliers for p in s.products if p.product.code == product)

    def entries(self):
        with self.store.reading() as conn:
            return len(entries.entries(conn))


THREE_AND_TWO = ("2026-03-09T09:00", "2026-03-09T10:00", "2026-03-09T11:00", "2026-03-10T09:00", "2026-03-10T10:00")


@pytest.fixture
def room(address):
    return lambda **changes: Room(address, practice(**changes))


@pytest.fixture
def five_booked(room):
    """3 and 2 booked, 2.4 expected besides (two weeks of 1.2), 4 in a fridge with room for 30 more."""

    def made(**changes):
        made = room(**changes)
        made.booked(THREE_AND_TWO)
        made.came(4)
        return made

    return made


def test_need_in_whole_packs(five_booked):
    # derived (the rule's own case), scipy: bookings 3 and 2, Poisson 2.4, .95, position 4, packs of 4, space for 30
    here = five_booked()
    planned, line = here.planned(), here.line()
    assert (line.known_demand, line.unbooked_quantile, line.usable, line.need) == (5, 5, 4, 6)
    assert (line.order_quantity, line.packs, line.limited_by) == (8, 2, ("pack",))
    assert line.unbooked_mean == pytest.approx(2.4)
    assert line.achieved == pytest.approx(0.9966613830507716, abs=1e-9)
    assert line.covers_until == t("2026-03-14T22:00")
    assert planned.given.free_space == 30
    assert not here.plan().attention
    (supplier,) = here.plan().suppliers
    assert (supplier.order.total, supplier.arrival.arrives_on) == (424, date(2026, 3, 6))


def test_nothing_is_needed(room):
    # derived (the rule's own case), scipy: bookings 2 and 2, Poisson 1.2, .98, position 9 (3 here, 6 on order)
    here = room(week=0.6, pack=6, kit="service_target = 0.98")
    here.booked(("2026-03-09T09:00", "2026-03-09T10:00", "2026-03-10T09:00", "2026-03-10T10:00"))
    here.came(3)
    place(here.store, here.act(MONDAY - 60), "Cold Van", [("CK", 6)], None)
    line = here.line()
    assert (line.known_demand, line.unbooked_quantile, line.usable, line.on_order, line.need) == (4, 4, 3, 6, -1)
    assert line.achieved == pytest.approx(0.99849977490177, abs=1e-9)
    assert here.plan().nothing_needed == ("CK",)
    assert not any(s.needed for s in here.plan().suppliers)


def test_the_fill_target_counts_until_each_order_can_be_used(room):
    # derived (the rule's own case): weekly Poisson 2, review 1 week, lead 1 week, .95 by fill: 7 (.958315), not 8.
    # The kit of the rule has no warm-up; a supply of the same demand shows it without a fridge.
    supply = (
        '[[product]]\ncode = "SW"\nname = "s"\nsupplier = "Cold Van"\nkind = "supply"\npack_size = 1\n'
        '[[procedure]]\ncode = "p"\nminutes = 10\nexpected_per_week = 2\nuses = [ { product = "SW", each = 1 } ]\n'
    )
    line = room(kind="fill", extra=supply).line(product="SW")
    assert (line.unbooked_quantile, line.need, line.order_quantity) == (7, 7, 7)
    assert line.achieved == pytest.approx(0.958314987608562, abs=1e-9)


def filled_rate(mean_both, mean_lead, level):
    """1 - [E(D_both - S)+ - E(D_lead - S)+] / E(D_review), by scipy (Hadley & Whitin 1963)."""
    k = np.arange(200)
    short = [float(np.maximum(k - level, 0) @ stats.poisson.pmf(k, m)) for m in (mean_both, mean_lead)]
    return 1 - (short[0] - short[1]) / (mean_both - mean_lead)


def test_with_fill_the_warm_up_belongs_to_the_time_until_the_order_serves(address):
    # derived: warm after 72 h, so the order of now serves from Monday the 9th 16:00 (six staffed days: 3.0 of 2.5 a week)
    # and the next from Monday the 16th (eleven: 5.5)
    text = practice(week=2.5, pack=1, kind="fill", capacity="").replace(
        "warmup_hours = 30\nmax_out_hours = 72", "warmup_hours = 72\nmax_out_hours = 96"
    )
    line = Room(address, text).line()
    assert line.unbooked_mean == pytest.approx(5.5)
    level = line.unbooked_quantile
    assert line.achieved == pytest.approx(filled_rate(5.5, 3.0, level), abs=1e-9)
    assert filled_rate(5.5, 3.0, level) >= 0.95 > filled_rate(5.5, 3.0, level - 1)


def test_with_fill_no_part_is_expected_to_need_more_than_the_whole(room):
    # derived: here on Wednesday (three staffed days of five), the next on the Wednesday after (eight). The first procedure
    # has its week's bookings on the Thursday and the Tuesday after: nothing more in the whole, so nothing more by Wednesday.
    # The second expects 5 a week: 3 by Wednesday, 8 in all
    extra = SUPPLIER.format(name="Quick Van", more="").replace("lead_days = 4", "lead_days = 2") + (
        '[[product]]\ncode = "SW"\nname = "s"\nsupplier = "Quick Van"\nkind = "supply"\npack_size = 1\n'
        '[[procedure]]\ncode = "a"\nminutes = 10\nexpected_per_week = 2\nuses = [ { product = "SW", each = 1 } ]\n'
        '[[procedure]]\ncode = "b"\nminutes = 10\nexpected_per_week = 5\nuses = [ { product = "SW", each = 1 } ]\n'
    )
    here = room(kind="fill", extra=extra)
    here.booked([f"2026-03-{d}T{h}:00" for d in ("05", "10") for h in ("09", "10", "11")], procedure="a")
    line = here.line(product="SW")
    assert (line.known_demand, line.unbooked_mean) == (6, pytest.approx(8))
    level = line.unbooked_quantile
    assert line.achieved == pytest.approx(filled_rate(8, 3, level), abs=1e-9)
    assert filled_rate(8, 3, level) >= 0.95 > filled_rate(8, 3, level - 1)


def test_only_what_can_serve_is_usable(five_booked):
    here = five_booked()
    here.came(3, lot="OLD", expiry="2026-03-01")
    stocktake(
        here.store,
        here.act("2026-02-27T11:00"),
        "Cold",
        [Counted("CK", "L1", 4), Counted("CK", "OLD", 3), Counted("CK", "X", 2)],
        "found",
    )
    here.came(5, lot="BOX", at="2026-02-27T12:00")
    move(here.store, here.act("2026-02-27T12:05"), "CK", "BOX", 3, "Cold", "Polystyrene crate")
    move(here.store, here.act("2026-02-27T12:06"), "CK", "BOX", 2, "Cold", "Dry")
    # 4 of L1: the expired, the undated, those in a crate and those on a warm shelf do not count
    assert here.line().usable == 4
    # expired and undated ones still take room in the fridge: 34 - 4 - 3 - 2
    assert here.planned().given.free_space == 25


def test_a_kit_that_is_out_counts_until_its_use_by(five_booked):
    # derived: out at 08:00 on the Monday, 72 h: until Thursday 08:00
    here = five_booked()
    take_out(here.store, here.act("2026-03-02T08:00"), product="CK", lot="L1")
    assert here.line(t("2026-03-05T07:59:59")).usable == 4
    assert here.line(t("2026-03-05T08:00")).usable == 3
    # outside the fridge it takes no room: 34 - 3
    assert here.planned(t("2026-03-02T09:00")).given.free_space == 31


def test_held_stock_is_not_counted_and_what_its_release_would_change(five_booked):
    # derived: 5 + 5 - 0 = 10, in packs 12; released it is the line of before
    here = five_booked()
    quarantine(here.store, here.act("2026-03-01T10:00"), "CK", "L1", "maker's notice")
    line = here.line()
    assert (line.usable, line.need, line.order_quantity, here.planned().held) == (0, 10, 12, 4)
    assert "4 held: if released, need 6 and order 8" in line.why
    # and before it was held it was not
    assert here.line(t("2026-03-01T09:59")).usable == 4


def test_an_overdue_order_counts_as_nothing_until_it_has_a_new_day(five_booked):
    # derived: ordered on Monday 23 February, due on Friday the 27th at 16:00
    here = five_booked()
    said = place(here.store, here.act("2026-02-23T09:00"), "cold van", [("CK", 8)], None)
    assert (said.fields["order"], said.fields["due"]) == ("O-1", "2026-02-27")
    due = t("2026-02-27T16:00")
    assert (here.line(due).on_order, here.line(due + 1).on_order) == (8, 0)
    plan, line = here.plan(), here.line()
    assert (line.need, line.order_quantity, plan.attention) == (6, 8, 1)
    assert any("O-1" in f.what and "8 x CK" in f.what for f in plan.findings)
    assert any(said.startswith("O-1 (8) is overdue") for said in line.why)
    expect(here.store, here.act(MONDAY), "O-1", date(2026, 3, 5))
    assert (here.line(MONDAY + 1).on_order, here.line(MONDAY + 1).need, here.plan(MONDAY + 1).attention) == (
        8,
        -2,
        False,
    )
    # what was known before the call stays what was known then
    assert here.line(MONDAY - 1).on_order == 0
    # a day after the next order would be here is too late for it (derived: covers_until is Saturday the 14th)
    expect(here.store, here.act(MONDAY + 60), "O-1", date(2026, 3, 16))
    assert (here.line(MONDAY + 60).on_order, here.line(MONDAY + 60).need) == (0, 6)


def test_a_part_delivery_leaves_the_rest_on_order(five_booked):
    here = five_booked()
    place(here.store, here.act("2026-02-26T09:00"), "Cold Van", [("CK", 8)], None)
    here.came(4, lot="L2", at="2026-02-27T12:00", order="O-1")
    line = here.line()
    assert (line.usable, line.on_order) == (8, 4)
    (order,) = orders_now(here.store, MONDAY)
    assert [(x.product, x.ordered, x.received, x.to_come) for x in order.lines] == [("CK", 8, 4, 4)]
    assert order.missing == "4 x CK"
    here.came(4, lot="L2", at="2026-02-27T13:00", order="O-1")
    assert orders_now(here.store, MONDAY) == []
    assert (here.line().usable, here.line().on_order) == (12, 0)
    # as of the morning all of it was still to come
    assert here.line(t("2026-02-27T11:00")).on_order == 8


@pytest.mark.parametrize("cancel", [True, False])
def test_a_cancelled_or_closed_order_is_not_on_order(five_booked, cancel):
    here = five_booked()
    place(here.store, here.act("2026-02-26T09:00"), "Cold Van", [("CK", 8)], None)
    here.came(4, lot="L2", at="2026-02-27T12:00", order="O-1")
    said = end(here.store, here.act("2026-02-27T15:00"), "o1" if cancel else "1", "not made any more", cancel=cancel)
    assert said.fields["not_coming"] == [{"product": "CK", "quantity": 4}]
    assert said.fields["state"] == ("cancelled" if cancel else "closed")
    assert (here.line().on_order, here.line(t("2026-02-27T14:59")).on_order) == (0, 4)
    before = here.entries()
    for again in (
        lambda: end(here.store, here.act(MONDAY), "O-1", "x", cancel=cancel),
        lambda: expect(here.store, here.act(MONDAY), "O-1", date(2026, 3, 5)),
    ):
        with pytest.raises(Refused, match="nothing of it is to come"):
            again()
    assert here.entries() == before


def test_the_fridge_cuts_and_the_chance_that_is_left_is_named(five_booked):
    # derived: 11 spaces, 4 stand there: one pack of 4; 4 + 4 - 5 = 3, P(Poisson 2.4 <= 3) = .7787
    here = five_booked(capacity="capacity = 11")
    line = here.line()
    assert (line.need, line.order_quantity, line.limited_by) == (6, 4, ("pack", "space"))
    assert line.achieved == pytest.approx(chance_at_most(poisson(2.4), 3), abs=1e-9)
    assert any("77.87 %" in said for said in line.why)
    # nothing is broken that is booked: 8 for 5
    assert not here.plan().attention


def test_no_room_at_all_is_said_loudly(five_booked):
    here = five_booked(capacity="capacity = 4")
    line, planned = here.line(), here.planned()
    assert (line.order_quantity, line.need) == (0, 6)
    assert planned.loud and planned.loud[0].startswith("NOT ENOUGH")
    assert here.plan().attention


def test_a_fridge_without_a_capacity_is_no_limit(five_booked):
    assert five_booked(capacity="").planned().given.free_space is None


def test_what_is_on_order_takes_room_and_an_overdue_order_takes_none(five_booked):
    here = five_booked()
    place(here.store, here.act("2026-02-26T09:00"), "Cold Van", [("CK", 8)], None)
    due = t("2026-03-02T16:00")  # derived: Thursday and four days
    assert here.planned(due).given.free_space == 34 - 4 - 8
    assert here.planned(due + 1).given.free_space == 34 - 4


def test_what_known_bookings_take_from_the_fridge_makes_room(room):
    # derived: the order may be at the door on Friday the 6th at 08:00. Kits for the Thursday before leave the fridge 30 h
    # before, in the night to Wednesday; those for the week after only then. 8 there fill it: 11 booked, a pack of 4 wanted
    here = room(week=0, capacity="capacity = 8")
    here.came(8)
    here.booked([f"2026-03-05T{h}:00" for h in ("09", "10", "11")])
    here.booked([f"2026-03-09T{h}:00" for h in ("08", "09", "10", "11", "12", "13", "14", "15")])
    assert (here.line().need, here.line().order_quantity, here.planned().given.free_space) == (3, 0, 3)
    here.booked(["2026-03-05T12:00"])
    assert (here.line().need, here.line().order_quantity, here.planned().given.free_space) == (4, 4, 4)
    # a kit that is out already has given its room back, and none of the bookings does so twice: 8 - 7 + 3
    take_out(here.store, here.act("2026-03-02T09:50"), booking="B-1")
    assert here.planned(t("2026-03-02T09:51")).given.free_space == 4
    # a fridge that has room on the day is not over-full
    said = place(here.store, here.act("2026-03-02T09:52"), "Cold Van", [], None)
    assert not [f for f in said.findings if f.slug == "over-full"]
    said = place(here.store, here.act("2026-03-02T09:53"), "Cold Van", [("CK", 4)], None)
    assert [f.what for f in said.findings if f.slug == "over-full"] == [
        "it needs 4 spaces in the fridge, of which 0 will be free"
    ]


def test_a_booking_whose_time_has_come_makes_no_room(room):
    # derived: 4 of 8 spaces are free; whether the kit of Friday the 27th left the fridge nobody has said
    here = room(week=0, capacity="capacity = 8")
    here.came(4)
    here.booked(["2026-02-27T15:00"])
    assert here.planned().given.free_space == 4


SECOND = KIT.format(code="CK2", pack=3, more="space = 2") + (
    '[[procedure]]\ncode = "other"\nminutes = 30\nexpected_per_week = 2\nuses = [ { product = "CK2", each = 1 } ]\n'
)


@pytest.mark.parametrize("van", ["Cold Van", "Second Van"])
@pytest.mark.parametrize(
    ("capacity", "ck", "ck2"), [(3, 0, 0), (7, 0, 0), (8, 4, 0), (17, 4, 3), (23, 4, 6), (60, 8, 9)]
)
def test_the_whole_list_fits_the_fridge(five_booked, capacity, ck, ck2, van):
    # a law: what stands there and all that is proposed never need more than there is, of one supplier or of two
    extra = SUPPLIER.format(name="Second Van", more="") + SECOND.replace('"Cold Van"', f'"{van}"')
    here = five_booked(capacity=f"capacity = {capacity}", extra=extra)
    planned = {p.product.code: p for s in here.plan().suppliers for p in s.products}
    filled = sum(p.line.order_quantity * p.product.space for p in planned.values())
    assert filled <= max(0, capacity - 4)
    # derived: CK wants 8, CK2 wants 9 of 2 (Poisson 4: .95 at 8), in packs of 3. CK is short of a booking, so the first
    # pack is its own: then it is enough at .7787 and CK2 at .0183, with a pack at .4335, with two at .8893. So beside the 4
    # that stand there: of 13 spaces 4 + 6, of 19 spaces 4 + 6 + 6, and the rest is less than a pack of either
    assert (planned["CK"].line.order_quantity, planned["CK2"].line.order_quantity) == (ck, ck2)


def test_room_that_a_withheld_order_does_not_take_is_left_for_the_next(five_booked):
    # derived: the first supplier's order is below its minimum, so its 8 spaces are free: 14 - 4 = 10 of 2, 5: 3
    second = SECOND.replace('supplier = "Cold Van"', 'supplier = "Second Van"')
    two = SUPPLIER.format(name="Second Van", more="") + second
    here = five_booked(capacity="capacity = 14", supplier="minimum_order = 500", extra=two)
    assert here.line().limited_by == ("pack", "supplier")
    assert here.line(product="CK2").order_quantity == 3


def test_a_short_shelf_life_cuts(room):
    # derived: here on Friday the 6th at 16:00, good for three days: until Monday the 9th at 16:00; 3 of the 5 by then
    here = room(week=0, pack=1, kit="shelf_life_days = 3")
    here.booked(THREE_AND_TWO)
    line = here.line()
    assert (line.need, line.order_quantity, line.limited_by) == (5, 3, ("shelf_life",))
    assert here.planned().loud and here.plan().attention


def test_below_the_suppliers_minimum_nothing_is_proposed(five_booked):
    # derived: 2 packs of 212.00 are 424.00
    here = five_booked(supplier="minimum_order = 424.01")
    (supplier,) = here.plan().suppliers
    (line,) = [p.line for p in supplier.needed]
    assert (line.order_quantity, line.need, line.limited_by, supplier.order.total) == (0, 6, ("pack", "supplier"), 0)
    assert any("424.00 GBP" in said and "424.01 GBP" in said for said in line.why)
    assert here.plan().attention
    before = here.entries()
    with pytest.raises(Refused, match=r"nothing is proposed from Cold Van.*424\.00"):
        place(here.store, here.act(MONDAY), "Cold Van", [], None)
    assert here.entries() == before
    said = place(here.store, here.act(MONDAY), "Cold Van", [("CK", 8)], "agreed by telephone")
    assert [f.slug for f in said.findings if f.urgent] == ["below-minimum-order"]


def test_bookings_that_no_order_can_reach_need_a_person(five_booked):
    # derived: an order of Monday can be used on Saturday the 7th at 22:00; 4 there, 5 booked on the Thursday before
    here = five_booked()
    here.booked([f"2026-03-05T{h}:00" for h in ("09", "10", "11", "12", "13")])
    assert here.planned().loud[0].startswith("TOO LATE FOR 1")
    assert here.plan().attention


def test_a_booking_that_is_over_counts_until_somebody_says_what_became_of_it(five_booked):
    here = five_booked()
    here.booked(["2026-02-27T14:00"])
    plan = here.plan()
    assert here.line().known_demand == 6
    assert [f.what for f in plan.findings] == ["1 booking over and not yet recorded, counted as still to come: B-6"]
    assert not plan.attention
    take_out(here.store, here.act("2026-02-27T11:00"), booking="B-6")
    done(here.store, here.act("2026-02-27T14:30"), "B-6", Outcome())
    assert (here.line().known_demand, here.line().usable, here.plan().findings) == (5, 3, ())


def test_as_of_knows_nothing_of_what_came_later(five_booked):
    here = five_booked()
    before = here.plan(MONDAY)
    here.booked(["2026-03-11T09:00"], at="2026-03-02T07:30")
    here.came(4, lot="L9", at="2026-03-02T07:40")
    place(here.store, here.act("2026-03-02T07:50"), "Cold Van", [("CK", 4)], None)
    after = here.plan(MONDAY)
    assert [p.line for s in after.suppliers for p in s.products] == [
        p.line for s in before.suppliers for p in s.products
    ]
    later = here.line(t("2026-03-02T08:00"))
    assert (later.known_demand, later.usable, later.on_order) == (6, 8, 4)


def test_stock_that_the_record_lacks_makes_the_list_unsure(five_booked):
    here = five_booked()
    use(here.store, here.act("2026-03-01T10:00"), "CK", 6, "dropped")
    plan = here.plan()
    assert here.line().usable == 0
    assert plan.attention and any(
        "2 pieces used that the record does not have, at Cold" in f.what for f in plan.findings
    )


def test_demand_of_a_procedure_that_is_gone_is_named(five_booked):
    here = five_booked()
    cut = practice().replace('code = "planned"', 'code = "renamed"')
    with here.store.reading() as conn:
        loading = setup.compared(conn, cut.encode(), "practice.toml", t("2026-03-01T09:00"))
    setup.load(here.store, here.act("2026-03-01T09:00"), loading)
    plan = here.plan()
    assert here.line().known_demand == 0 and plan.attention
    assert [f.what.split()[0] for f in plan.findings] == ["B-1", "B-2", "B-3", "B-4", "B-5"]
    # while the old file ruled they counted
    assert here.line(t("2026-03-01T08:59")).known_demand == 5


def test_a_supplier_that_never_delivers_does_not_hide_the_others(five_booked):
    gone = SUPPLIER.format(name="Gone Van", more="closed = [{ from = 2026-01-01, to = 2028-01-01 }]")
    extra = gone + '[[product]]\ncode = "SW"\nname = "s"\nsupplier = "Gone Van"\nkind = "supply"\n'
    here = five_booked(extra=extra)
    plan = here.plan()
    assert here.line().order_quantity == 8
    assert plan.attention and [f.slug for f in plan.findings] == ["no-delivery"] and "SW" in plan.findings[0].what
    assert "SW" not in plan.nothing_needed
    with pytest.raises(Refused, match="Gone Van"):
        explained(here.store, MONDAY, "SW")


def test_the_joint_chance_of_a_procedure(five_booked):
    # derived: the product of its products' own chances, if independent
    both = (
        SECOND
        + '[[procedure]]\ncode = "both"\nminutes = 30\nuses = [ { product = "CK", each = 1 }, { product = "CK2", each = 2 } ]\n'
    )
    here = five_booked(extra=both, capacity="")
    chances = {c.procedure: c.chance for c in here.plan().coupled if c.chance is not None}
    one, two = here.line().no_shortage, here.line(product="CK2").no_shortage
    assert (chances["planned"], chances["other"]) == (one, two)
    assert chances["both"] == pytest.approx(one * two)


# --- placing ---


def test_an_order_as_proposed(five_booked):
    here = five_booked()
    said = place(here.store, here.act(MONDAY), "Cold Van", [], None)
    assert said.fields["lines"] == [
        {"product": "CK", "quantity": 8, "packs": 2, "proposed": 8, "pack_price": 212.0, "cost": 424.0}
    ]
    assert (said.fields["total"], said.fields["due"], said.attention) == (424.0, "2026-03-06", False)
    line = here.line(MONDAY + 1)
    assert (line.on_order, line.need) == (8, -2)
    before = here.entries()
    with pytest.raises(Refused, match="nothing is proposed"):
        place(here.store, here.act(MONDAY + 1), "Cold Van", [], None)
    assert here.entries() == before


def test_given_quantities_are_exactly_the_order(five_booked):
    here = five_booked(extra=SECOND, capacity="")
    said = place(here.store, here.act(MONDAY), "Cold Van", [("ck", 4)], "little money")
    assert [(x["product"], x["quantity"], x["proposed"]) for x in said.fields["lines"]] == [("CK", 4, 8)]
    assert [(f.slug, f.what) for f in said.findings] == [("left-out", "proposed, and not on this order: 9 x CK2")]


def test_nought_leaves_one_line_out(five_booked):
    here = five_booked(extra=SECOND, capacity="")
    said = place(here.store, here.act(MONDAY), "Cold Van", [("CK2", 0)], None)
    assert [(x["product"], x["quantity"]) for x in said.fields["lines"]] == [("CK", 8)]


def test_packs_are_pieces_in_the_record(five_booked):
    here = five_booked()
    said = place(here.store, here.act(MONDAY), "Cold Van", [("CK", 2)], None, packs=True)
    assert [(x["quantity"], x["packs"]) for x in said.fields["lines"]] == [(8, 2)]


def test_what_an_order_breaks_is_recorded_and_named(five_booked):
    other = SUPPLIER.format(name="Dry Van", more="minimum_order = 50")
    extra = (
        other
        + '[[product]]\ncode = "SW"\nname = "s"\nsupplier = "Dry Van"\nkind = "supply"\npack_size = 10\npack_price = 4.0\nminimum_packs = 2\n'
    )
    here = five_booked(extra=extra, capacity="capacity = 6")
    said = place(here.store, here.act(MONDAY), "Dry Van", [("CK", 3), ("SW", 10)], None)
    slugs = [f.slug for f in said.findings if f.urgent]
    # 3 of a pack of 4 from the wrong supplier; one pack where two are the least; room for 2 only. 159 + 4 are enough
    assert slugs == ["other-supplier", "part-pack", "below-minimum", "over-full"]
    assert said.fields["total"] == 163.0
    with here.store.reading() as conn:
        ((found),) = entries.breaches(conn, int(said.entry[2:])).values()
    assert [slug for slug, _ in found] == ["other-supplier", "part-pack", "below-minimum"]
    # the second of a day is asked about: it may be the same one typed twice
    again = place(here.store, here.act(MONDAY + 300), "Dry Van", [("SW", 130)], None)
    assert [f.slug for f in again.findings if f.urgent] == ["ordered-already"]


def test_what_cannot_be_ordered_is_refused_and_nothing_is_written(five_booked):
    here = five_booked(extra=KIT.format(code="CK2", pack=3, more=""))
    before = here.entries()
    for supplier, wanted, words in (
        ("Cold Vam", [], 'no supplier "Cold Vam"; did you mean "Cold Van"'),
        ("Cold Van", [("KC", 4)], 'no product "KC"'),
        ("Cold Van", [("CK", 4), ("ck", 4)], "named twice"),
        ("Cold Van", [("CK", 0)], "leaves nothing"),
        ("Cold Van", [("CK2", 0)], "not proposed"),
    ):
        with pytest.raises(Refused, match=words):
            place(here.store, here.act(MONDAY), supplier, wanted, None)
    assert (here.entries(), orders_now(here.store, MONDAY)) == (before, [])


def test_an_order_that_there_is_not(five_booked):
    here = five_booked()
    place(here.store, here.act(MONDAY), "Cold Van", [], None)
    before = here.entries()
    for text in ("O-2", "", "B-1", "x", "O-0", "99999999999"):
        with pytest.raises(Refused, match="there is no order"):
            end(here.store, here.act(MONDAY + 60), text, "x", cancel=False)
        with pytest.raises(Refused, match="there is no order"):
            expect(here.store, here.act(MONDAY + 60), text, date(2026, 3, 9))
    assert here.entries() == before


def test_a_day_to_expect_an_order_on(five_booked):
    here = five_booked()
    place(here.store, here.act(MONDAY), "Cold Van", [], None)
    before = here.entries()
    with pytest.raises(Refused, match="Sun 1 Mar 2026"):
        expect(here.store, here.act(MONDAY + 60), "O-1", date(2026, 3, 1))
    assert here.entries() == before
    # somebody's word is recorded all the same: on a Saturday nobody can take it in
    said = expect(here.store, here.act(MONDAY + 60), "O-1", date(2026, 3, 7))
    assert said.attention
    (order,) = orders_now(here.store, MONDAY + 60)
    assert (order.due_on, order.state, said.fields["was_due"]) == (date(2026, 3, 7), "open", "2026-03-06")
    assert orders_now(here.store, t("2026-03-08T00:00"))[0].state == "overdue"


def test_an_order_that_is_due_at_midnight_is_due_on_that_day(address):
    here = Room(address, practice().replace("-16:00", "-24:00"))
    here.booked(THREE_AND_TWO)
    said = place(here.store, here.act(MONDAY), "Cold Van", [], None)
    (order,) = orders_now(here.store, MONDAY)
    assert (said.fields["due"], order.due_on) == ("2026-03-06", date(2026, 3, 6))
    assert orders_now(here.store, t("2026-03-07T00:00"))[0].state == "open"
    assert orders_now(here.store, t("2026-03-07T00:01"))[0].state == "overdue"


# --- a group of sites ---

GROUP = """
[[site]]
name = "North"
HOURS
[[site]]
name = "South"
HOURS
"""


def test_each_site_orders_for_itself(address):
    text = practice().replace(HOURS, "").replace("[[fridge]]\n", GROUP.replace("HOURS", HOURS) + "[[fridge]]\n", 1)
    text = text.replace('name = "Cold"\n', 'name = "Cold"\nsite = "North"\n').replace(
        'name = "Dry"', 'name = "Dry"\nsite = "North"'
    )
    text += '[[fridge]]\nname = "Far"\nsite = "South"\nlow = 2.0\nhigh = 8.0\ncapacity = 7\n'
    here = Room(address, text)
    here.booked(THREE_AND_TWO, site="North")
    here.came(4)
    here.booked(("2026-03-09T09:00",), site="South")
    receive(
        here.store, here.act("2026-02-27T10:00", "South"), Delivery("CK", "L2", date(2027, 1, 31), "Far", quantity=1)
    )
    lines = {s.site: s.products[0] for s in here.plan().suppliers}
    assert [(x.line.known_demand, x.line.usable, x.line.order_quantity) for x in lines.values()] == [
        (5, 4, 8),
        (1, 1, 4),
    ]
    # derived for South: 1 + 5 - 1 = 5 needed, 6 spaces free: one pack of 4
    assert (lines["South"].line.need, lines["South"].line.limited_by) == (5, ("pack", "space"))
    (south,) = here.plan(site="South").suppliers
    assert (south.site, south.products[0].line) == ("South", lines["South"].line)
    before = here.entries()
    with pytest.raises(Refused, match="more than one site"):
        place(here.store, here.act(MONDAY), "Cold Van", [], None)
    assert here.entries() == before
    place(here.store, here.act(MONDAY, "South"), "Cold Van", [], None)
    after = {s.site: s.products[0].line for s in here.plan(MONDAY + 1).suppliers}
    assert (after["North"].on_order, after["South"].on_order) == (0, 4)
    assert [o.site for o in orders_now(here.store, MONDAY, site="South")] == ["South"]
    assert orders_now(here.store, MONDAY, site="North") == []
