"""To which start a booking could move, without taking a kit from another one that stands.

The starts at which a booking could be served are stretches of time, each of which begins where a staffed span begins,
where a kit that is out is warm, or where one that leaves the fridge as soon as somebody is there is warm. So only
these have to be tried, in order; the first at which every kit of the booking is to be had is the earliest there is.

Whether a start serves is looked up in what the plan leaves over, where that answers it: for a booking that has no kit,
nor is promised any, or is promised one only. Else a plan is made anew.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from stockroom.core.allotment import Allotment, Need, fits
from stockroom.core.matching import Spare, Want, serves
from stockroom.core.moments import Span
from stockroom.core.opening import SEARCH_SECONDS, Opening
from stockroom.core.takeout import FridgeStock, Kit, last_use, ready_at, take_out, time_left

LEAD = 600
"""Seconds that a person gets to carry out a proposal: a kit that has to leave the fridge this second is late."""
ROUND = (300, 60)
"""Seconds to which a proposed start is rounded up: five minutes where that serves, else one."""
MOST_NEEDS = 20_000
"""How many needs are planned anew at most, for all bookings together: a look at the plan stays a look."""

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
    """When its kits become warm."""

    def takes(self, start: int, end: int, lead: int, number: int = 1) -> bool:
        """True where so many more would be served then."""
        if self.number < number:
            return False
        want = _want(self.one, start, end, lead)
        return self.spare.takes(want) and (number == 1 or self.spare.takes(want, number))


@dataclass(slots=True)
class _Asked:
    """What one booking needs of an allotment (``n``): ``number`` kits, of which it has ``has``; ``own`` are promised to
    it, also those that do not serve it where it stands now."""

    n: int
    number: int = 0
    has: int = 0
    own: list[Kit] = field(default_factory=list)


class Moves:
    """What the plan leaves over, less what was proposed before: no two proposals count on one kit.

    ``made`` is what ``again`` makes of ``needs``; ``bookings`` are those that are asked about.
    """

    def __init__(
        self,
        needs: Sequence[Need],
        made: Sequence[Allotment],
        again: Again,
        openings: Mapping[str, Opening],
        now: int,
        bookings: Collection[int],
    ) -> None:
        self._again, self._openings, self._now, self._bookings = again, openings, now, bookings
        self._looks = MOST_NEEDS
        self.unsure: set[int] = set()
        """Bookings for which so many plans would have to be made anew that the search was given up."""
        self._begin(needs, made)

    def _begin(self, needs: Sequence[Need], made: Sequence[Allotment]) -> None:
        self._needs, self._made = needs, made
        self._kept: dict[int, Span] = {}
        """Booking -> where it is to move, of those for which no plan was made anew."""
        self._lefts: dict[int, _Left] = {}
        self._asked: dict[int, dict[int, _Asked]] = {}
        """Booking -> position of the allotment -> what it needs of that."""
        for n, one in enumerate(made):
            holder: dict[int, int] = {}
            for i, need in enumerate(one.needs):
                if need.promised:
                    holder.update((pull, need.booking) for pull in need.promised)
                if need.booking in self._bookings:
                    asked = self._asked.setdefault(need.booking, {}).setdefault(n, _Asked(n))
                    asked.number += 1
                    asked.has += one.source(i) is not None
                    asked.own += [one.promised[i]] if i in one.promised else []
            for kit in one.free:
                booking = holder.get(kit.pull) if kit.promised_to is None else kit.promised_to
                if booking in self._asked and n in self._asked[booking]:
                    self._asked[booking][n].own.append(kit)

    def spare_kits(self, site: str, product: str) -> int:
        """How many kits of a product are given and proposed to nobody."""
        return sum(
            self._left(n).number for n, x in enumerate(self._made) if (x.site, x.product.code) == (site, product)
        )

    def earliest(self, booking: int, site: str, seconds: int) -> int | None:
        """The first start from now on, to the second."""
        return self._first(self._of(booking), booking, self._openings[site], seconds, self._now, 0)

    def alone(self, booking: int, site: str, seconds: int, product: str) -> int | None:
        """The first start from now on if it needed nothing but one kit of the product; None where it needs no other."""
        asked = [a for a in self._of(booking) if self._made[a.n].product.code == product]
        if sum(a.number for a in self._of(booking)) == 1:
            return None
        return self._of_left(self._left(asked[0].n), self._openings[site], seconds, self._now, 0)

    def propose(self, booking: int, site: str, seconds: int, since: int) -> int | None:
        """A start from ``since`` on, in whole minutes, that a person can still bring about; its kits are kept for it."""
        asked, opening = self._of(booking), self._openings[site]
        start = self._first(asked, booking, opening, seconds, max(since, self._now), LEAD)
        if start is not None:
            self._keep(asked, booking, start, start + seconds)
        return start

    def _of(self, booking: int) -> list[_Asked]:
        return list(self._asked[booking].values())

    def _left(self, n: int) -> _Left:
        if n not in self._lefts:
            one = self._made[n]
            number = len(one.options) - sum(given is not None for given in one.given)
            self._lefts[n] = _Left(one, Spare(one.wants, one.options, one.given_to_wants), number)
        return self._lefts[n]

    def _first(
        self, asked: Sequence[_Asked], booking: int, opening: Opening, seconds: int, since: int, lead: int
    ) -> int | None:
        """The first start at which all its kits are to be had; with a lead, in whole minutes."""
        lefts = [self._left(a.n) for a in asked]
        if len(asked) == asked[0].number == 1 and not asked[0].has and len(asked[0].own) < 2:
            if not asked[0].own:
                return self._of_left(lefts[0], opening, seconds, since, lead)
            return self._of_its_own(lefts[0], asked[0].own[0], opening, seconds, since, lead)
        warm = [_Warm(self._made[a.n], a.own, seconds) for a in asked]
        both = list(zip(lefts, asked, strict=True))
        if any(a.has or a.own for a in asked):
            enough = all(a.number <= left.number + a.has for left, a in both)
            test = self._test(asked, booking, lead)
        else:
            enough = all(a.number <= left.number for left, a in both)

            def test(start: int, end: int) -> bool:
                return all(left.takes(start, end, lead, a.number) for left, a in both)

        return _search(opening, warm, seconds, since, self._now, lead, test) if enough else None

    def _of_left(self, left: _Left, opening: Opening, seconds: int, since: int, lead: int) -> int | None:
        """The first start at which a kit that is left would serve; what was found for one booking is not sought again."""
        key, begin = (seconds, lead), since
        begin = max(since, left.first.get(key, since))
        if not left.number or begin >= left.none_from.get(key, begin + 1):
            return None
        left.warm = left.warm or _Warm(left.one, (), seconds)
        start = _search(
            *(opening, [left.warm], seconds, begin, self._now, lead), lambda start, end: left.takes(start, end, lead)
        )
        if start is None:
            left.none_from[key] = begin
        elif since <= self._now and not lead:
            left.first[key] = start
        return start

    def _of_its_own(self, left: _Left, kit: Kit, opening: Opening, seconds: int, since: int, lead: int) -> int | None:
        """The first start for a booking to which one kit is promised: where that fits it goes along with the booking,
        and who has it now needs another."""
        product = left.one.product
        other = self._of_left(left, opening, seconds, since, lead)
        if left.number and left.spare.can_do_without(left.one.free.index(kit)):
            limit = last_use(kit, product)
            first, last = max(ready_at(kit, product), since), since + SEARCH_SECONDS
            last = last if limit is None else min(last, limit - seconds)
            for begin, _ in opening.moments(0, seconds).intervals(first, last) if first <= last else ():
                own = _rounded(opening, begin, seconds, lead, lambda start, end: fits(kit, product, start, end))
                if own is not None:
                    return own if other is None else min(own, other)
            return other
        limit = last_use(kit, product)
        if other is None or not fits(kit, product, other, other + seconds):
            return other
        return None if limit is None else self._of_left(left, opening, seconds, limit - seconds + 1, lead)

    def _test(self, asked: Sequence[_Asked], booking: int, lead: int) -> Test:
        """Makes the plan anew with one booking moved: it is served, and nobody has fewer kits."""

        def served(start: int, end: int) -> bool:
            if not all(_any(self._made[a.n], a.own, start, end, lead) for a in asked):
                return False
            self._looks -= len(self._needs)
            if self._looks < 0:
                self.unsure.add(booking)
                return False
            mine, others = shared_out(self._again(self._moved(booking, start, end)), booking, self._now + lead)
            return mine is not None and all(others[b] >= n for b, n in before.items() if b != booking)

        before = shared_out(self._made, -1, 0)[1]
        before |= {b: sum(a.number for a in self._of(b)) for b in self._kept}
        return served

    def _keep(self, asked: Sequence[_Asked], booking: int, start: int, end: int) -> None:
        """Keeps the kits for a booking that is to move there."""
        lefts = [self._left(a.n) for a in asked]
        own = [kit for a in asked for kit in a.own]
        if any(a.has for a in asked) or len(own) > 1 or (own and len(asked) + asked[0].number > 2):
            needs = self._moved(booking, start, end)
            self._begin(needs, self._again(needs))
            return
        self._kept[booking] = self._begun_later(start, end)
        for a, left in zip(asked, lefts, strict=True):
            if own and fits(own[0], left.one.product, start, end):
                left.spare.take_away(left.one.free.index(own[0]))
            else:
                for _ in range(a.number):
                    left.spare.take(_want(left.one, start, end, LEAD))
            left.number -= a.number

    def _moved(self, booking: int, start: int, end: int) -> list[Need]:
        return moved(self._needs, {**self._kept, booking: self._begun_later(start, end)})

    def _begun_later(self, start: int, end: int) -> Span:
        return max(start, self._now + 1), end  # one that begins this very second would count as begun


def moved(needs: Sequence[Need], to: Mapping[int, Span]) -> list[Need]:
    """The same needs, those of some bookings at another (start, end)."""
    return [n if n.booking not in to else n._replace(start=to[n.booking][0], end=to[n.booking][1]) for n in needs]


def shared_out(
    made: Sequence[Allotment], booking: int, soonest: int
) -> tuple[list[Kit | FridgeStock] | None, Counter[int]]:
    """The kits of a booking, and how many each other one has.

    None where it lacks one of them, or where one has to leave the fridge before ``soonest``; then nobody counts.
    """
    mine: list[Kit | FridgeStock] = []
    others: Counter[int] = Counter()
    for one in made:
        for i, need in enumerate(one.needs):
            source, moment = one.source(i), one.times[i].staffed_by
            if need.booking != booking:
                others[need.booking] += source is not None
                continue
            if source is None or (isinstance(source, FridgeStock) and (moment is None or moment < soonest)):
                return None, Counter()
            mine.append(source)
    return mine, others


def _want(one: Allotment, start: int, end: int, lead: int) -> Want:
    """A kit wanted, as the matching sees it, where somebody has so many seconds to see to it."""
    times = take_out(start, end, one.product.warmup_seconds, time_left(one.product), one.opening, one.habit)
    moment = times.staffed_by
    return Want(start, end, None if moment is None or moment < one.now + lead else end - moment)


def _any(one: Allotment, own: Iterable[Kit], start: int, end: int, lead: int) -> bool:
    """True where any kit at all would serve then: else no plan has to be made to see that none does."""
    want = _want(one, start, end, lead)
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


def _search(
    opening: Opening, warm: Sequence[_Warm], seconds: int, begin: int, now: int, lead: int, test: Test
) -> int | None:
    """The first start from ``begin`` on that passes the test; with a lead, in whole minutes."""
    found = (
        _rounded(opening, start, seconds, lead, test) for start in _starts(opening, warm, seconds, begin, now + lead)
    )
    return next((start for start in found if start is not None), None)


def _rounded(opening: Opening, start: int, seconds: int, lead: int, test: Test) -> int | None:
    """The start itself; with a lead rounded up, where the procedure is staffed then and passes the test."""
    for at in dict.fromkeys(-(-start // r) * r for r in ROUND) if lead else (start,):
        if opening.start_for(seconds, at) == at and test(at, at + seconds):
            return at
    return None


def _starts(opening: Opening, warm: Sequence[_Warm], seconds: int, begin: int, pulls_from: int) -> Iterator[int]:
    """Every start from ``begin`` on at which something can begin to be possible, the procedure inside a staffed span."""
    end = min([begin + SEARCH_SECONDS, *(w.lasts - seconds for w in warm if w.lasts is not None)])
    for first, last in opening.moments(0, seconds).intervals(begin, end):
        yield first
        yield from sorted({at for w in warm for at in w.between(opening, first, last, pulls_from)})
