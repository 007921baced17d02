"""To which start a booking could move, without taking a kit from another one that stands.

The starts at which a booking could be served are stretches of time, each of which begins where a staffed span begins,
where a kit that is out is warm, or where one that leaves the fridge as soon as somebody is there is warm. So only
these have to be tried, in order; the first at which every kit of the booking is to be had is the earliest there is.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from stockroom.core.allotment import Allotment, Need, fits
from stockroom.core.matching import Spare, Want, serves
from stockroom.core.opening import SEARCH_SECONDS, Opening
from stockroom.core.takeout import FridgeStock, Kit, last_use, ready_at, take_out, time_left

LEAD = 600
"""Seconds that a person gets to carry out a proposal: a kit that has to leave the fridge this second is late."""
ROUND = (300, 60)
"""Seconds to which a proposed start is rounded up: five minutes where that serves, else one."""

Again = Callable[[Sequence[Need]], list[Allotment]]
"""Needs -> which kit each of them is given."""
Test = Callable[[int, int], bool]
"""(start, end) -> whether the booking would be served then."""


@dataclass(slots=True)
class _Left:
    """What one allotment leaves over: ``number`` kits, given to nobody and proposed to nobody."""

    one: Allotment
    spare: Spare
    number: int
    first: dict[tuple[int, int], int] = field(default_factory=dict)
    """(seconds, lead) -> no start for so long before this; fewer kits are left each time, so it stays true."""
    none_from: dict[tuple[int, int], int] = field(default_factory=dict)
    """(seconds, lead) -> none from here on."""
    warm: "_Warm | None" = None
    """When its kits become warm, those promised to somebody aside."""


class Moves:
    """What the plan leaves over, less what was proposed before: no two proposals count on one kit.

    ``made`` is what ``again`` makes of ``needs``.
    """

    def __init__(
        self, needs: Sequence[Need], made: list[Allotment], again: Again, openings: Mapping[str, Opening], now: int
    ) -> None:
        self._again, self._openings, self._now = again, openings, now
        self._begin(list(needs), made)

    def _begin(self, needs: list[Need], made: list[Allotment]) -> None:
        self._needs, self._made = needs, made
        self._lefts: dict[int, _Left] = {}
        self._of: dict[int, list[tuple[int, int]]] = {}
        for n, one in enumerate(made):
            for i, need in enumerate(one.needs):
                self._of.setdefault(need.booking, []).append((n, i))
        has_kit = (n for one in made for i, n in enumerate(one.needs) if one.source(i) is not None)
        self._served = Counter(need.booking for need in has_kit)
        self._promised = {need.booking for need in needs if need.promised}
        self._promised |= {kit.promised_to for one in made for kit in one.free if kit.promised_to is not None}
        self._promised |= {one.needs[i].booking for one in made for i in one.promised}
        """Bookings to which a kit is promised, be it one that does not serve them."""

    def spare_kits(self, site: str, product: str) -> int:
        """How many kits of a product are given and proposed to nobody."""
        return sum(
            self._left(n).number for n, x in enumerate(self._made) if (x.site, x.product.code) == (site, product)
        )

    def earliest(self, booking: int, site: str, seconds: int, product: str | None = None) -> int | None:
        """The first start from now on, to the second; with ``product`` as if it needed nothing but one of that."""
        return self._first(booking, site, seconds, self._now, 0, product)

    def propose(self, booking: int, site: str, seconds: int, since: int) -> int | None:
        """A start from ``since`` on, in whole minutes, that a person can still bring about; its kits are kept for it."""
        start = self._first(booking, site, seconds, max(since, self._now), LEAD, None)
        if start is not None:
            self.keep(booking, start, start + seconds)
        return start

    def keep(self, booking: int, start: int, end: int) -> None:
        """Keeps the kits for a booking that is to move there."""
        left = self._simple(self._of.get(booking, []))
        self._needs = self._moved(booking, start, end)
        if left is not None:
            left.spare.take(_want(left.one, start, end, LEAD))
            left.number -= 1
            self._served[booking] += 1
        else:
            self._begin(self._needs, self._again(self._needs))

    def serves(self, booking: int, start: int, end: int) -> bool:
        """True where it would have all its kits then and nobody fewer; opening hours are not looked at."""
        return self._test(booking, self._of.get(booking, []), 0)(start, end)

    def _left(self, n: int) -> _Left:
        if n not in self._lefts:
            one = self._made[n]
            number = len(one.options) - sum(given is not None for given in one.given)
            self._lefts[n] = _Left(one, Spare(one.wants, one.options, one.given_to_wants), number)
        return self._lefts[n]

    def _simple(self, mine: Sequence[tuple[int, int]]) -> _Left | None:
        """What its only product leaves over, for a booking of one kit that has none, nor is promised any."""
        if len(mine) != 1:
            return None
        (n, i), one = mine[0], self._made[mine[0][0]]
        return None if one.needs[i].booking in self._promised or one.given[i] is not None else self._left(n)

    def _test(self, booking: int, mine: Sequence[tuple[int, int]], lead: int) -> Test:
        """Whether a start serves: looked up in what is left over where that is enough, else in a plan made anew."""
        left = self._simple(mine)
        if left is not None:
            return lambda start, end: bool(left.number) and left.spare.takes(_want(left.one, start, end, lead))
        ones = [self._made[n] for n in sorted({n for n, _ in mine})]
        # It may have kits already, which it takes along or leaves behind.
        kits = Counter(n for n, i in mine if self._made[n].source(i) is not None)
        enough = all(len([n for n, _ in mine if n == m]) <= self._left(m).number + kits[m] for m, _ in mine)

        def served(start: int, end: int) -> bool:
            some = enough and all(_any(one, booking, start, end, lead) for one in ones)
            return some and self._whole(booking, start, end, lead)

        return served

    def _whole(self, booking: int, start: int, end: int, lead: int) -> bool:
        """Makes the plan anew with one booking moved: it is served, and nobody has fewer kits."""
        after: Counter[int] = Counter()
        for one in self._again(self._moved(booking, start, end)):
            for i, need in enumerate(one.needs):
                source, moment = one.source(i), one.times[i].staffed_by
                too_soon = isinstance(source, FridgeStock) and (moment is None or moment < self._now + lead)
                if need.booking == booking and (source is None or too_soon):
                    return False
                after[need.booking] += source is not None
        return all(after[other] >= n for other, n in self._served.items() if other != booking)

    def _moved(self, booking: int, start: int, end: int) -> list[Need]:
        start = max(start, self._now + 1)  # one that begins this very second would count as begun
        return [n._replace(start=start, end=end) if n.booking == booking else n for n in self._needs]

    def _first(self, booking: int, site: str, seconds: int, since: int, lead: int, product: str | None) -> int | None:
        """The first start at which all its kits are to be had; with a lead, in whole minutes."""
        mine = [(n, i) for n, i in self._of.get(booking, []) if product in (None, self._made[n].product.code)]
        mine = mine if product is None else mine[:1]
        left, test = self._simple(mine), self._test(booking, mine, lead)
        key, opening, begin = (seconds, lead), self._openings[site], since
        if left is not None:
            begin = max(since, left.first.get(key, since))
            if not left.number or begin >= left.none_from.get(key, begin + 1):
                return None
        warm = [self._warm(n, booking, seconds) for n in sorted({n for n, _ in mine})]
        for start in _starts(opening, warm, seconds, begin, self._now + lead):
            for rounded in [-(-start // r) * r for r in ROUND] if lead else [start]:
                end = rounded + seconds
                if opening.start_for(seconds, rounded) == rounded and test(rounded, end):
                    if left is not None and since <= self._now:
                        left.first[key] = start
                    return rounded
        if left is not None:
            left.none_from[key] = begin
        return None

    def _warm(self, n: int, booking: int, seconds: int) -> "_Warm":
        left, one = self._left(n), self._made[n]
        own = _own(one, booking) if booking in self._promised else []
        if own or left.warm is None:
            warm = _Warm(one, own, seconds)
            left.warm = left.warm if own else warm
            return warm
        return left.warm


def _want(one: Allotment, start: int, end: int, lead: int) -> Want:
    """A kit wanted, as the matching sees it, where somebody has so many seconds to see to it."""
    times = take_out(start, end, one.product.warmup_seconds, time_left(one.product), one.opening, one.habit)
    moment = times.staffed_by
    return Want(start, end, None if moment is None or moment < one.now + lead else end - moment)


def _own(one: Allotment, booking: int) -> list[Kit]:
    """The kits promised to a booking, also those that do not serve it where it stands now."""
    kept = [kit for i, kit in one.promised.items() if one.needs[i].booking == booking]
    return kept + [kit for kit in one.free if kit.promised_to == booking]


def _any(one: Allotment, booking: int, start: int, end: int, lead: int) -> bool:
    """True where any kit at all would serve then: else no plan has to be made to see that none does."""
    want = _want(one, start, end, lead)
    own = _own(one, booking)
    return any(fits(kit, one.product, start, end) for kit in own) or any(serves(o, want) for o in one.options)


class _Warm:
    """When kits of one allotment become warm at the earliest, for a booking of so many seconds with kits of its own."""

    def __init__(self, one: Allotment, own: Sequence[Kit], seconds: int) -> None:
        own_limits = [last_use(kit, one.product) for kit in own]
        limits = {*(option.use_by for option in one.options), *own_limits}
        known = [limit for limit in limits if limit is not None]
        warm = {*(o.ready for o in one.options if o.out), *(ready_at(kit, one.product) for kit in own)}
        # Its own kit may be what another booking has: that one keeps it where this one is too late for it.
        warm |= {limit - seconds + 1 for limit in own_limits if limit is not None}
        self._one, self._out = one, sorted(warm)
        self.lasts = max(known, default=0) if len(known) == len(limits) else None
        """The last instant at which any of them can be used; None where there is no limit."""

    def between(self, opening: Opening, after: int, last: int, pulls_from: int) -> list[int]:
        """When one that is out becomes warm, or one that leaves the fridge as soon as somebody is there: in (after, last]."""
        warmup, habit = self._one.product.warmup_seconds, self._one.habit
        pulls = opening.moments(habit.margin, habit.margin, habit.rounds)
        found = self._out[bisect_right(self._out, after) : bisect_right(self._out, last)]
        begin = max(pulls_from, after + 1 - warmup)
        return found + [first + warmup for first, _ in pulls.intervals(begin, last - warmup)]


def _starts(opening: Opening, warm: Sequence[_Warm], seconds: int, begin: int, pulls_from: int) -> Iterator[int]:
    """Every start from ``begin`` on at which something can begin to be possible, the procedure inside a staffed span."""
    end = min([begin + SEARCH_SECONDS, *(w.lasts - seconds for w in warm if w.lasts is not None)])
    for first, last in opening.moments(0, seconds).intervals(begin, end):
        yield first
        yield from sorted({at for w in warm for at in w.between(opening, first, last, pulls_from)})
