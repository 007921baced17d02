"""For the telephone: which starts could still be served, against a plan made anew for each of them."""

from dataclasses import replace
from datetime import date, timedelta
from time import process_time

from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import weeks

from stockroom.core import offers as say
from stockroom.core.offers import Offer, offers
from stockroom.core.opening import Opening
from stockroom.core.practice import Closure, Keep, Practice, Procedure, Product, Site, Use
from stockroom.core.warmup import FridgeStock, Kit, Need, plan

HOUR = 3600
Day = tuple[date, list[Offer], str]
"""A day, what it offers, and why not where that is nothing."""

CK = Product(
    "CK", "Cold kit", "kit", "Supplier", keep=Keep(2000, 5000), warmup_seconds=24 * HOUR, max_out_seconds=72 * HOUR
)
WHITENING = Procedure("whitening", 45, 10, 6, 8, uses=(Use("CK", each=1),))
"""45 minutes and six cycles of 10: 105 minutes."""
HOURS = (*(((510, 1050),),) * 4, ((510, 960),), (), ())
"""Monday to Thursday 08:30-17:30, Friday to 16:00, closed at the week-end."""
THURSDAY = date(2026, 2, 26)


def opening(hours=HOURS, closed=()) -> Opening:
    return Opening("Europe/Amsterdam", Site("", hours, tuple(closed)))


PLACE = opening()
NOON = PLACE.at(THURSDAY, 720)


def practice(product=CK, rounds=()) -> Practice:
    return Practice("P", "UTC", "EUR", (), products=(product,), rounds=rounds)


def stock(quantity: int = 1, product: str = "CK", **given) -> FridgeStock:
    return replace(FridgeStock(product, 1, "L1", "", "Fridge 1", NOON + 300 * 86_400, quantity), **given)


def kit(pull: int, hours_ago: float) -> Kit:
    return Kit("CK", 1, "L1", "", NOON + 300 * 86_400, f"P-{pull}", pull, NOON - int(hours_ago * HOUR))


def need(start: int, booking: int = 1, seconds: int = 105 * 60, **given) -> Need:
    return Need(booking, start, start + seconds, "whitening", "CK", "")._replace(**given)


def asked(needs=(), kits=(), fridge=(), days=6, place=PLACE, procedure=WHITENING, now=NOON, rules=None) -> list[Day]:
    found, none = offers(procedure, None, rules or practice(), "", needs, kits, fridge, {"": place}, now, days)
    reasons = dict(none)
    assert not reasons.keys() & {o.day for o in found}
    today = place.day(now)
    all_days = [today + timedelta(days=n) for n in range(days)]
    return [(day, [o for o in found if o.day == day], reasons.get(day, "")) for day in all_days]


def clock(days: list[Day], place=PLACE) -> list[object]:
    """Each day as its windows in local time, or its reason."""
    return [
        [(place.typed(o.first)[11:], place.typed(o.last)[11:], o.kit) for o in of_day] or why_not
        for _, of_day, why_not in days
    ]


def test_a_week_with_one_kit_in_the_fridge():
    """Derived, margin 15 min: Thursday 12:00 now. Out at once a kit is warm on Friday 12:00; 105 minutes end by
    16:00, so until 14:15. Monday: out by Friday 15:45 and good for 72 h, so over by Monday 15:45, start by 14:00;
    Monday 08:30 needs it out by Sunday 08:30, so Friday 15:45, 66.5 h before the end at 10:15. Tuesday: out on
    Monday from 08:45 on, so from 08:45; until 15:45, over at 17:30."""
    days = asked(fridge=[stock()])
    assert clock(days) == [
        say.TOO_SOON,
        [("12:00", "14:15", "fridge")],
        say.CLOSED,
        say.CLOSED,
        [("08:30", "14:00", "fridge")],
        [("08:45", "15:45", "fridge")],
    ]
    assert days[4][1][0].take_out_by == PLACE.at(date(2026, 2, 27), 945)
    assert days[5][1][0].take_out_by == PLACE.at(date(2026, 3, 2), 525)


def test_a_standing_booking_keeps_its_kit():
    """Derived: the only kit is needed on Monday, so nothing is left for anybody; with a second one all is as before."""
    monday = need(PLACE.at(date(2026, 3, 2), 600))
    one, two = asked([monday], fridge=[stock()]), asked([monday], fridge=[stock(2)])
    assert clock(one) == [say.TOO_SOON, say.NO_KIT, say.CLOSED, say.CLOSED, say.NO_KIT, say.NO_KIT]
    assert clock(two) == clock(asked(fridge=[stock()]))


def test_a_kit_that_is_out_serves_before_one_from_the_fridge_could():
    """Derived: out since Wednesday 11:00, warm, good until Saturday 11:00."""
    days = asked(kits=[kit(5, 25)], fridge=[stock()])
    assert clock(days)[:2] == [[("12:00", "15:45", "out")], [("08:30", "14:15", "out")]]
    assert days[0][1][0].take_out_by is None
    assert clock(asked(kits=[kit(5, 25)]))[4] == say.NO_KIT


def test_a_kit_out_that_its_booking_could_spare_is_offered():
    """Derived: Friday's 15:00 booking holds the kit that is out but could be served from the fridge."""
    friday = need(PLACE.at(date(2026, 2, 27), 840))
    days = asked([friday], [kit(5, 25)], [stock()], days=1)
    assert clock(days) == [[("12:00", "15:45", "out")]]
    assert clock(asked([friday._replace(promised=(5,))], [kit(5, 25)], [stock()], days=1)) == [say.TOO_SOON]


def test_a_procedure_that_needs_two_kits():
    two = replace(WHITENING, uses=(Use("CK", each=2),))
    assert clock(asked(fridge=[stock()], procedure=two))[1] == say.NO_KIT
    assert clock(asked(fridge=[stock(2)], procedure=two))[1] == [("12:00", "14:15", "fridge")]
    assert clock(asked(kits=[kit(5, 25)], fridge=[stock()], procedure=two))[1] == [("12:00", "14:15", "fridge")]


def test_all_products_must_be_there():
    other = replace(CK, code="GEL", warmup_seconds=48 * HOUR)
    both = replace(WHITENING, uses=(Use("CK", each=1), Use("GEL", each=1)))
    rules = replace(practice(), products=(CK, other))
    fridge = [stock(), stock(product="GEL")]
    assert clock(asked(fridge=[stock()], procedure=both, rules=rules))[4] == say.NO_KIT
    # Derived: 48 h before Monday 08:30 is Saturday, so GEL leaves on Friday by 15:45 too; on Tuesday the latest
    # moment for CK is Monday's, for GEL Friday 15:45, 72 h before Monday's end.
    monday, tuesday = asked(fridge=fridge, procedure=both, rules=rules)[4:6]
    assert clock([monday]) == [[("08:30", "14:00", "fridge")]]
    assert clock([tuesday]) == [say.NOBODY]


def test_closures_and_reasons():
    """Derived: nobody is in from Friday to Monday, and Thursday 16:00 to 17:30 is too short for 105 minutes."""
    away = opening(closed=[Closure(date(2026, 2, 27), date(2026, 3, 2))])
    assert clock(asked(fridge=[stock()], place=away, days=6), away) == [
        say.TOO_SOON,
        *[say.CLOSED] * 4,
        say.NOBODY,
    ]
    assert clock(asked(fridge=[stock()], days=1, now=PLACE.at(THURSDAY, 960))) == [say.OVER]
    short = opening(hours=(((540, 600),),) * 7)
    assert clock(asked(fridge=[stock()], place=short, days=2), short) == [say.TOO_SHORT, say.TOO_SHORT]


def test_a_procedure_without_a_cold_kit_needs_only_hours():
    plain = replace(WHITENING, uses=())
    assert clock(asked(procedure=plain, days=3)) == [
        [("12:00", "15:45", "none")],
        [("08:30", "14:15", "none")],
        say.CLOSED,
    ]


def test_starts_on_a_day_with_a_clock_change_and_over_midnight():
    """Derived: open day and night in Amsterdam; 2026-03-29 has 92 quarters of an hour, 2026-10-25 has 96 of which the
    doubled hour is offered once, and a procedure may run past midnight."""
    place = opening(hours=(((0, 1440),),) * 7)
    plain = replace(WHITENING, uses=())
    for day, quarters in ((date(2026, 3, 29), 92), (date(2026, 10, 25), 96)):
        (only,) = asked(procedure=plain, days=1, place=place, now=place.midnight(day))
        tried = {s for _, s in say.starts_on(place, day, WHITENING.seconds(), place.midnight(day))}
        assert len(tried) == quarters
        assert (only[1][0].first, only[1][-1].last) == (place.midnight(day), place.at(day, 1425))


bookings = st.lists(st.tuples(st.integers(0, 5 * 96), st.integers(2, 8)), max_size=4)
pulls_out = st.lists(st.integers(1, 60), max_size=3)


@given(weeks, bookings, pulls_out, st.integers(0, 3), st.integers(1, 2), st.sampled_from([(), (525, 1000)]))
@settings(max_examples=25, deadline=None)
def test_what_is_offered_is_what_a_new_plan_would_serve(hours, booked, pulled, quantity, each, rounds):
    """Law: booked for real, an offered start gets its kits and no other booking loses one; one not offered does not."""
    place, rules = opening(hours), practice(rounds=rounds)
    procedure = replace(WHITENING, uses=(Use("CK", each=each),))
    needs = [need(NOON + a * 900, n, m * 900) for n, (a, m) in enumerate(booked)]
    kits = [kit(n, ago) for n, ago in enumerate(pulled)]
    fridge = [stock(quantity)]
    days = asked(needs, kits, fridge, 5, place, procedure, rules=rules)
    offered = {t for _, found, _ in days for o in found for t in range(o.first, o.last + 1, 900)}
    before = sum(r.lot is not None for r in plan(needs, kits, fridge, rules, {"": place}, NOON))
    spans = place.spans(NOON, NOON + 6 * 86_400)
    for quarter in range(4 * 96):
        start = NOON + quarter * 900
        end = start + procedure.seconds()
        inside = any(a <= start and end <= b for a, b in spans)
        more = [*needs, *[need(start, 99)] * each]
        after = sum(r.lot is not None for r in plan(more, kits, fridge, rules, {"": place}, NOON)) if inside else 0
        assert (start in offered) == (inside and after == before + each), place.clock(start)


def test_four_weeks_with_fifty_bookings_take_no_time():
    """0.1 s where this was written; a second is the limit."""
    needs = [need(PLACE.at(THURSDAY + timedelta(days=n % 28), 540 + 15 * (n % 20)), n) for n in range(50)]
    kits = [kit(n, n) for n in range(10)]
    fridge = [stock(20), stock(20, lot=2, expiry_end=NOON + 20 * 86_400)]
    began = process_time()
    days = asked(needs, kits, fridge, 28)
    assert process_time() - began < 1
    assert any(found for _, found, _ in days)
