"""Which kit for which booking: against networkx and scipy, and the order among equal plans against brute force."""

from dataclasses import replace
from heapq import heappop, heappush
from itertools import combinations, permutations
from time import perf_counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import by_networkx, by_scipy

from stockroom.core.matching import FOREVER, Option, Spare, Want, assignment, serves

HOUR = 3600


def served(plan) -> int:
    return sum(kit is not None for kit in plan)


def checked(wants, options):
    """The assignment, after checking that it is one: no kit twice, every kit serves its booking."""
    plan = assignment(wants, options)
    assert len(plan) == len(wants)
    given_out = [kit for kit in plan if kit is not None]
    assert len(set(given_out)) == len(given_out)
    assert all(serves(options[kit], want) for want, kit in zip(wants, plan, strict=True) if kit is not None)
    return plan


def out(ready: int, use_by: int | None) -> Option:
    return Option(ready, use_by, True)


def plain(kits, bookings):
    return [Want(a, b) for a, b in bookings], [out(a, b) for a, b in kits]


# Worked cases.

KITS_12 = [
    [149, 285], [208, 262], [80, 173], [72, 205], [342, 484], [168, 339],
    [51, 77], [380, 441], [275, 341], [306, 312], [289, 375], [468, 532],
]  # fmt: skip
BOOKINGS_12 = [
    [548, 573], [123, 179], [198, 251], [385, 438], [453, 485], [508, 541],
    [533, 580], [145, 203], [325, 338], [501, 550], [398, 434], [172, 198],
]  # fmt: skip


@pytest.mark.parametrize(
    ("kits", "bookings", "most"),
    [
        # Derived: kits 08-16 and 09-11, bookings at 10 and 15; first ready first used serves 1.
        ([[480, 960], [540, 660]], [[600, 600], [900, 900]], 2),
        # Derived: kits 08-15, 08:30-09:30, 08:45-12, bookings at 09, 11:30, 14; first ready first used serves 2.
        ([[480, 900], [510, 570], [525, 720]], [[540, 540], [690, 690], [840, 840]], 3),
        # Derived, with durations: the kit must be good until the end of the booking.
        ([[480, 720], [480, 600], [540, 660]], [[510, 630], [570, 590], [600, 660]], 3),
        # Derived: usable day 0-6 and 4-10, entered for day 5 then day 3; entry order serves 1.
        ([[0, 6], [4, 10]], [[5, 5], [3, 3]], 2),
        ([], [[540, 540]], 0),
        # 12 kits x 12 bookings of a linear congruential generator; 6 by networkx and scipy, entry order serves 5.
        (KITS_12, BOOKINGS_12, 6),
    ],
)
def test_worked_cases(kits, bookings, most):
    wants, options = plain(kits, bookings)
    assert served(checked(wants, options)) == most


def test_the_pairs_of_the_two_smallest_cases():
    """Derived: each case has one full assignment only."""
    assert assignment(*plain([[480, 960], [540, 660]], [[600, 600], [900, 900]])) == [1, 0]
    assert assignment(*plain([[480, 900], [510, 570], [525, 720]], [[540, 540], [690, 690], [840, 840]])) == [1, 2, 0]


def test_out_kits_first_would_lose_the_blocked_booking():
    """Derived: one kit out, one in the fridge, Friday's booking and Monday's, which nobody can take out for."""
    friday, monday = Want(100, 110, out_for=30), Want(200, 210, out_for=None)
    options = [out(50, 300), Option(90, 1000, False, 72)]
    assert checked([friday, monday], options) == [1, 0]


def test_a_kit_already_out_is_used_before_the_fridge_is_opened():
    """Derived: both could serve; the kit in the fridge keeps, whatever its expiry day."""
    assert assignment([Want(100, 110, 30)], [Option(90, 120, False, 72), out(50, 300)]) == [1]


def test_first_expired_first_out():
    fridge = [Option(0, use_by, False, 72) for use_by in (900, 500, None, 400, 105)]
    assert assignment([Want(100, 110, 30), Want(200, 210, 30)], fridge) == [3, 1]
    assert assignment([Want(100, 110, 30)] * 4, fridge) == [3, 1, 0, 2]


def test_equal_kits_are_taken_in_the_order_given_and_earlier_bookings_served_first():
    options = [out(0, 500), out(0, 500)]
    assert assignment([Want(100, 110), Want(50, 60), Want(80, 90)], options) == [None, 0, 1]


def test_a_kit_with_hours_out_used_up_does_not_serve_a_long_wait():
    """Derived: 40 h out would be needed, the kit that was put back has 30 left, the fresh one 72."""
    wants = [Want(200, 210, 40), Want(200, 210, 20)]
    options = [Option(0, 400, False, 30), Option(0, 900, False, 72)]
    assert checked(wants, options) == [1, 0]
    assert checked(wants[:1], options[:1]) == [None]


# The count, against two libraries.


def lcg_instance(seed: int, kits: int, bookings: int, span: int, life: int, longest: int):
    """Kits and bookings from the generator x -> 1103515245 x + 12345 mod 2^31, high bits (ANSI C's example)."""
    state = seed

    def draw() -> int:
        nonlocal state
        state = (1103515245 * state + 12345) % 2**31
        return state >> 8

    usable = [[a, a + 1 + draw() % life] for a in (draw() % span for _ in range(kits))]
    booked = [
        [a, a + (draw() % longest if longest else 0)] for a in (draw() % (span + life // 2) for _ in range(bookings))
    ]
    return usable, booked


def test_1500_generated_instances_reach_the_maximum():
    """1 to 12 kits and bookings, with and without durations; the maximum by networkx and by scipy."""
    assert lcg_instance(7, 12, 12, 480, 180, 60) == (KITS_12, BOOKINGS_12)
    for seed in range(1, 1501):
        longest = 0 if seed % 2 == 0 else 25
        wants, options = plain(*lcg_instance(seed, 1 + seed % 12, 1 + seed // 12 % 12, 120, 60, longest))
        most = by_scipy(wants, options)
        assert served(checked(wants, options)) == most
        if seed % 5 == 0:
            assert by_networkx(wants, options) == most


def test_40_kits_and_40_bookings_reach_36():
    """Generator as above, seed 2024, no durations: 36 by networkx and scipy; entry order serves 31."""
    wants, options = plain(*lcg_instance(2024, 40, 40, 480, 240, 0))
    assert served(checked(wants, options)) == 36


def random_instance(rng, kits: int, bookings: int):
    """Kits out and in the fridge, some put back before, some without a limit; bookings blocked or not."""
    wants = [
        Want(int(a), int(a + rng.integers(0, 30)), None if rng.random() < 0.3 else int(rng.integers(10, 60)))
        for a in rng.integers(0, 120, bookings)
    ]
    options = []
    for ready in rng.integers(0, 100, kits):
        limit = None if rng.random() < 0.1 else int(ready + rng.integers(0, 80))
        if rng.random() < 0.5:
            options.append(out(int(ready), limit))
        else:
            left = None if rng.random() < 0.2 else int(rng.choice([20, 40, 60]))
            options.append(Option(int(rng.choice([0, 24])), limit, False, left))
    return wants, options


def test_3000_random_instances_with_blocked_bookings_reach_the_maximum():
    rng = np.random.default_rng(20260302)
    for _ in range(3000):
        wants, options = random_instance(rng, int(rng.integers(0, 14)), int(rng.integers(0, 14)))
        assert served(checked(wants, options)) == by_scipy(wants, options)


def test_1000_instances_of_a_busy_week_reach_the_maximum():
    """Many bookings at few times, kits of which a share lasts long, some put back before: long chains of moves."""
    rng = np.random.default_rng(48)
    for n in range(1000):
        few = int(rng.integers(2, 40))
        wants, options = random_instance(rng, int(rng.integers(1, 45)), int(rng.integers(1, 45)))
        wants = [w._replace(start=w.start // few * few, end=w.start // few * few + w.end - w.start) for w in wants]
        options = [replace(o, use_by=o.use_by if k % 3 else 150) for k, o in enumerate(options)]
        most = served(checked(wants, options))
        assert most == by_scipy(wants, options)
        if n % 10 == 0:
            assert most == by_networkx(wants, options)


def test_larger_random_instances_by_both_libraries():
    rng = np.random.default_rng(5)
    for _ in range(25):
        wants, options = random_instance(rng, 120, 120)
        most = served(checked(wants, options))
        assert most == by_networkx(wants, options) == by_scipy(wants, options)


# The order among equal plans, by brute force.

moments = st.integers(0, 12)
small_wants = st.lists(
    st.builds(lambda a, n, need: Want(a, a + n, need), moments, st.integers(0, 4), st.none() | st.integers(1, 4)),
    max_size=5,
)
small_options = st.lists(
    st.builds(
        lambda a, n, is_out, left: Option(a, None if n > 9 else a + n, is_out, None if is_out else left),
        moments,
        st.integers(0, 11),
        st.booleans(),
        st.none() | st.integers(1, 4),
    ),
    max_size=5,
)


def full_sets(count: int, others: int, fits) -> list[tuple[int, ...]]:
    """The largest sets that can be paired off completely with different others, by trying everything."""
    for size in range(min(count, others), -1, -1):
        found = [
            chosen
            for chosen in combinations(range(count), size)
            if any(
                all(fits(c, o) for c, o in zip(chosen, row, strict=True)) for row in permutations(range(others), size)
            )
        ]
        if found:
            return found
    return [()]


@given(wants=small_wants, options=small_options)
@settings(max_examples=300, deadline=None)
def test_most_kits_out_then_earliest_expiry_then_earliest_bookings(wants, options):
    """Brute force over all sets of kits that a largest plan can use, and all sets of bookings that it can serve."""
    plan = checked(wants, options)

    def kit_rank(kits):
        limits = [FOREVER if options[k].use_by is None else options[k].use_by for k in kits]
        first = sorted((not options[k].out, limit) for k, limit in zip(kits, limits, strict=True))
        return (sum(not options[k].out for k in kits), first)

    kit_sets = full_sets(len(options), len(wants), lambda k, i: serves(options[k], wants[i]))
    used = sorted(k for k in plan if k is not None)
    assert kit_rank(used) == min(map(kit_rank, kit_sets))

    def start_rank(chosen):
        return sorted((wants[i].start, wants[i].end) for i in chosen)

    want_sets = full_sets(len(wants), len(options), lambda i, k: serves(options[k], wants[i]))
    assert start_rank([i for i, k in enumerate(plan) if k is not None]) == min(map(start_rank, want_sets))


@given(wants=small_wants, options=small_options, more=small_wants.filter(bool), number=st.integers(1, 3))
@settings(max_examples=300, deadline=None)
def test_spare_is_what_a_new_plan_with_the_booking_would_gain(wants, options, more, number):
    """Law: a booking can be taken on where the largest plan with it is larger by the kits that it needs."""
    spare = Spare(wants, options, assignment(wants, options))
    before = by_scipy(wants, options)
    for want in more:
        after = by_scipy(wants + [want] * number, options)
        assert spare.takes(want, number) == (after == before + number)


@given(wants=small_wants, options=small_options, gone=st.lists(st.integers(0, 9), max_size=6), more=small_wants)
@settings(max_examples=300, deadline=None)
def test_what_can_be_done_without_is_what_leaves_all_served(wants, options, gone, more):
    """Law: a kit may go where those served, and those taken on since, could all be served without it; then it is gone."""
    plan = assignment(wants, options)
    spare = Spare(wants, options, plan)
    kept = [want for want, kit in zip(wants, plan, strict=True) if kit is not None]
    there = dict(enumerate(options))
    for n, k in enumerate(gone):
        if k in there:
            left = [option for position, option in there.items() if position != k]
            could = by_scipy(kept, left) == len(kept)
            assert spare.can_do_without(k) == could
            assert spare.take_away(k) == could
            if could:
                del there[k]
        for want in more[n : n + 1]:
            could = by_scipy([*kept, want], list(there.values())) == len(kept) + 1
            assert spare.takes(want) == could
            assert spare.take(want) == could
            kept += [want] if could else []


def test_idle_out_counts_only_kits_that_nobody_was_given():
    wants, options = [Want(10, 12)], [out(0, 20), out(0, 30)]
    spare = Spare(wants, options, assignment(wants, options))
    assert spare.idle_out(Want(25, 28))
    assert not spare.idle_out(Want(10, 12), 2)
    assert spare.takes(Want(10, 12))
    assert not spare.takes(Want(10, 12), 2)


# Size.


def by_glover(ready, starts, life: int, length: int) -> int:
    """Bookings by start, each takes the earliest use-by there is: exact where all last equally long (Glover 1967)."""
    waiting: list[int] = []
    kits = sorted(ready)
    position = count = 0
    for start in sorted(starts):
        while position < len(kits) and kits[position] <= start:
            heappush(waiting, kits[position] + life)
            position += 1
        while waiting and waiting[0] < start + length:
            heappop(waiting)
        if waiting:
            heappop(waiting)
            count += 1
    return count


@pytest.mark.parametrize("longest", [1, 8])
def test_10000_bookings_and_kits_with_two_days_of_life(longest):
    """No list of neighbours is made: it took 0.05 to 0.1 s where this was written; 3 s is a defect."""
    rng = np.random.default_rng(1)
    ready = rng.integers(0, 2500 * HOUR, 10_000).tolist()
    starts = rng.integers(0, 2500 * HOUR, 10_000).tolist()
    lengths = (rng.integers(0, longest, 10_000) * 900 + 900).tolist()
    options = [out(r, r + 48 * HOUR) for r in ready]
    wants = [Want(s, s + n) for s, n in zip(starts, lengths, strict=True)]
    began = perf_counter()
    plan = assignment(wants, options)
    seconds = perf_counter() - began
    # No booking is longer than 2 h or shorter than 15 min, which bounds the count from either side.
    least, most = by_glover(ready, starts, 48 * HOUR, longest * 900), by_glover(ready, starts, 48 * HOUR, 900)
    assert least <= served(plan) <= most
    assert seconds < 3
