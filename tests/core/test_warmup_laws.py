"""The warm-up plan: laws, against brute force and against a largest assignment by a library."""

from bisect import bisect_left, bisect_right
from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta

from diary_cases import CK, HOUR, kit, need, opening, row, rows, stock
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import by_scipy, changes, changing, weeks

from stockroom.core.matching import Option, Want, serves
from stockroom.core.takeout import Habits, earliest_start, earliest_start_from_fridge, last_use
from stockroom.core.warmup import ATTENTION, ready_at, use_by


@given(
    zone=changing,
    pulled=st.integers(0, 40 * 86_400),
    hours=st.integers(1, 60),
    out_before=st.integers(0, 20 * HOUR),
)
def test_warm_up_is_elapsed_time_whatever_the_clocks_do(zone, pulled, hours, out_before):
    """Law: ready_at - pulled_at is the warm-up, and the clock's difference only where no clock changed between."""
    product = replace(CK, warmup_seconds=hours * HOUR)
    place = opening(zone)
    at = place.midnight(date(2026, 3, 1)) + pulled
    one = kit(1, "2026-03-01T00:00", pulled_at=at, out_before=out_before)
    assert ready_at(one, product) - at == hours * HOUR
    assert use_by(one, product) - at + out_before == 72 * HOUR
    begin, end = (datetime.fromtimestamp(t, place.zone) for t in (at, ready_at(one, product)))
    wall = (end.replace(tzinfo=None) - begin.replace(tzinfo=None)).total_seconds()
    assert wall - hours * HOUR == (end.utcoffset() - begin.utcoffset()).total_seconds()


@given(
    zone=changing, hours=weeks, exceptions=changes, start=st.integers(0, 14 * 96), margin=st.sampled_from([0, 15, 40])
)
@settings(max_examples=30, deadline=None)
def test_take_out_staffed_by_against_every_minute_of_two_weeks(zone, hours, exceptions, start, margin):
    """Brute force: staffed, the margin inside, and no later minute up to take_out_by is."""
    place = opening(zone, hours, exceptions=exceptions)
    first = place.midnight(date(2026, 3, 22))
    only = row(need(first + start * 900), first, place=place, margin=margin)
    spans = place.spans(first - 16 * 86_400, first + 16 * 86_400)
    minutes = range(first - 14 * 86_400, only.take_out_by + 1, 60)
    good = [m for m in minutes if any(a + 60 * margin <= m <= b - 60 * margin for a, b in spans)]
    if good:
        assert only.take_out_staffed_by == good[-1]
    else:
        assert only.take_out_staffed_by is None or only.take_out_staffed_by < minutes[0]


@given(
    zone=changing,
    hours=weeks,
    exceptions=changes,
    now=st.integers(0, 5 * 96),
    length=st.integers(1, 12),
    limit=st.none() | st.integers(24, 80),
    expiry=st.none() | st.integers(1, 12),
    margin=st.sampled_from([0, 15]),
    rounds=st.sampled_from([(), (525, 990)]),
)
@settings(max_examples=80, deadline=None)
def test_earliest_start_against_every_minute(zone, hours, exceptions, now, length, limit, expiry, margin, rounds):
    """Brute force over ten days: the first minute at which a kit could be warm and everything fits."""
    place = opening(zone, hours, exceptions=exceptions)
    product = replace(CK, max_out_seconds=None if limit is None else limit * HOUR)
    begin = place.midnight(date(2026, 3, 22))
    at, seconds, end = begin + now * 900, length * 900, begin + 10 * 86_400
    expiry_end = None if expiry is None else begin + expiry * 86_400
    spans = place.spans(begin - 3 * 86_400, end + 3 * 86_400)
    if rounds:
        days = [date(2026, 3, 20) + timedelta(days=n) for n in range(16)]
        pulls = sorted({place.at(day, r) for day in days for r in rounds})
        pulls = [p for p in pulls if p >= at and any(a <= p <= b for a, b in spans)]
    else:
        pulls = [m for m in range(at, end, 60) if any(a + 60 * margin <= m <= b - 60 * margin for a, b in spans)]

    def possible(start: int) -> bool:
        lowest = at if limit is None else start + seconds - limit * HOUR
        some = bisect_right(pulls, start - product.warmup_seconds) > bisect_left(pulls, max(at, lowest))
        inside = any(a <= start and start + seconds <= b for a, b in spans)
        return some and inside and (expiry_end is None or start + seconds <= expiry_end)

    first = next((m for m in range(at, end, 60) if possible(m)), None)
    found = earliest_start_from_fridge(
        *(place, Habits(60 * margin, rounds), product, seconds, at),
        left=product.max_out_seconds,
        expiry_end=expiry_end,
    )
    assert found == first or (first is None and found >= end)


@given(hours=weeks, warm=st.integers(0, 700), length=st.integers(1, 12), limit=st.integers(1, 72))
@settings(max_examples=60, deadline=None)
def test_earliest_start_of_a_kit_that_is_out(hours, warm, length, limit):
    """Brute force over the quarters of an hour of a week."""
    place = opening("UTC", hours)
    at = place.midnight(date(2026, 3, 2)) + warm * 900
    spans = place.spans(at - 86_400, at + 5 * 86_400)
    quarters = range(at, at + limit * HOUR - length * 900 + 1, 900)
    good = [q for q in quarters if any(a <= q and q + length * 900 <= b for a, b in spans)]
    assert earliest_start(place, length * 900, at, at + limit * HOUR) == (good[0] if good else None)


bookings = st.lists(st.tuples(st.integers(0, 6 * 96), st.integers(2, 8)), max_size=7)
pulls_out = st.lists(
    st.tuples(st.integers(-200, 0), st.sampled_from([0, 20]), st.none() | st.integers(0, 8)), max_size=4
)
lots = st.lists(st.tuples(st.integers(1, 3), st.integers(2, 9), st.sampled_from([0, 0, 30])), max_size=3)


@given(weeks, bookings, pulls_out, lots, st.sampled_from([36, 50, 72]))
@settings(max_examples=200, deadline=None)
def test_a_plan_keeps_every_rule(hours, booked, pulled, shelf, longest):
    """Laws: stock is given once; what is proposed can be done; as many as networkx's and scipy's maximum."""
    place, product = opening("Europe/Amsterdam", hours), replace(CK, max_out_seconds=longest * HOUR)
    now = place.at(date(2026, 3, 27), 600)
    needs = [need(now + a * 900, n, 15 * m) for n, (a, m) in enumerate(booked)]
    kits = [
        kit(n, "2026-03-01T00:00", pulled_at=now + a * 900, out_before=b * HOUR) for n, (a, b, _) in enumerate(pulled)
    ]
    fridge = [
        stock(q, lot=n, lot_code=f"L{n}", expiry_end=now + d * 86_400, out_before=b * HOUR)
        for n, (q, d, b) in enumerate(shelf)
    ]
    out = rows(needs, now, kits, fridge, product=product, place=place)
    assert len(out) == len(needs)
    used = Counter(r.pull for r in out if r.pull is not None)
    taken = Counter(r.lot for r in out if r.place is not None)
    assert all(n == 1 for n in used.values())
    assert all(n <= fridge[int(lot[1:])].quantity for lot, n in taken.items())
    for r in out:
        if r.state in ("ready", "warming"):
            assert r.ready_at <= r.start
            assert r.end <= r.use_by
            assert (r.state == "ready") == (r.ready_at <= now)
        elif r.state in ("due", "planned"):
            lot = fridge[int(r.lot[1:])]
            assert max(now, r.take_out_from) <= r.take_out_staffed_by <= r.take_out_by
            assert r.end - r.take_out_staffed_by + lot.out_before <= longest * HOUR
            assert r.end <= lot.expiry_end
            assert (r.state == "due") == (place.day(r.take_out_staffed_by) == place.day(now))
        elif r.state == "late":
            assert now > r.take_out_by
        elif r.state == "blocked":
            assert now <= r.take_out_by
            lower = max(now, r.take_out_from)
            assert place.latest(r.take_out_by, 900, (), lower) is None
        assert r.why
        assert (r.state in ATTENTION) == (r.state not in ("ready", "warming", "planned"))
        assert r.earliest_start is None or (r.state in ("late", "blocked") and place.staffed(r.earliest_start))
    wants = []
    for r in out:
        can = r.take_out_staffed_by is not None and r.take_out_staffed_by >= now
        wants.append(Want(r.start, r.end, r.end - r.take_out_staffed_by if can else None))
    options = [Option(ready_at(k, product), last_use(k, product), True) for k in kits]
    options += [
        Option(now, f.expiry_end, False, longest * HOUR - f.out_before) for f in fridge for _ in range(f.quantity)
    ]
    assert sum(r.lot is not None for r in out) == by_scipy(wants, options)
    assert all(any(serves(o, w) for o in options) for r, w in zip(out, wants, strict=True) if r.lot is not None)


@given(weeks, bookings, pulls_out, lots)
@settings(max_examples=100, deadline=None)
def test_promises_are_kept_before_anything_else(hours, booked, pulled, shelf):
    """Law: where the kit promised to a coming booking can serve it, the booking has a kit promised to it."""
    place = opening("Europe/Amsterdam", hours)
    now = place.at(date(2026, 3, 27), 600)
    needs = [need(now + 1 + a * 900, n, 15 * m) for n, (a, m) in enumerate(booked)]
    kits = [kit(n, "2026-03-01T00:00", pulled_at=now + a * 900, promised_to=b) for n, (a, _, b) in enumerate(pulled)]
    out = {r.booking: r for r in rows(needs, now, kits, [stock(q) for q, _, _ in shelf], place=place)}
    for k in kits:
        r = out.get(k.promised_to)
        if r is None or not (ready_at(k, CK) <= r.start and r.end <= use_by(k, CK)):
            assert k.promised_to in (None, *out) or k.pull not in [x.pull for x in out.values()]
        else:
            assert r.pull in [x.pull for x in kits if x.promised_to == k.promised_to]
