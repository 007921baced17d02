"""An ordering policy played forward over demand that was drawn beforehand: what would have been short, wasted, kept.

Rows are policies or products, columns are runs; every number is whole pieces. A period (a day, a week) goes:

1. what to order is decided, on what was left at the end of the period before and what is on order;
2. what is due arrives, an order due in its own period too;
3. demand is served, first expired first out; what cannot be served is lost, and nobody waits for it;
4. at its end, pieces that have come to the end of their life are discarded.

Whoever may order looks at the position (there and on order) and orders the smallest number of whole packs that brings
it up to the level, none where it is not below it: order-up-to with single pieces, (s, nQ) with s = level in packs. The
waste correction is the estimated withdrawal and ageing of Broekmeulen & van Donselaar (2009): the position is taken
without what would expire inside the protection span if demand were exactly as expected.

Ages need no axis of their own. Where pieces leave in the order in which they came, the number that ever came and the
number that ever went say everything: after period t all that came by t - life + 1 must be gone, so gone = max(gone +
served, came by t - life + 1). A lot of the first day that expires later than a delivery of that day would is kept
aside: it serves where the rest cannot, and joins the queue in the period whose deliveries expire with it. That is
still first expired first out, to the piece.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from stockroom.core.on_the_way import OnTheWay
from stockroom.core.packs import packs_to_order
from stockroom.core.play import Counts, Drawn, Flags, Plan, Played

CHUNK = 500
"""Runs that are played at once, so that memory does not grow with their number. What chance decides is drawn by chunk,
so another size would be another draw."""


def played(
    plan: Plan, draw: Callable[[int, int], Drawn], runs: int, advance: Callable[[int, int], None] | None = None
) -> Played:
    """Plays so many runs. ``draw(n, size)`` gives what chance decides for chunk n; ``advance(done, runs)`` is told.

    Raises: ArithmeticError where the books of any run do not balance to the piece (a defect of this module).
    """
    parts = []
    for number, first in enumerate(range(0, runs, CHUNK)):
        size = min(CHUNK, runs - first)
        parts.append(_Chunk(plan, draw(number, size), size).result())
        if advance is not None:
            advance(first + size, runs)
    names = [f.name for f in fields(Played) if f.name not in ("periods", "cycles")]
    joined = {name: np.concatenate([getattr(part, name) for part in parts], axis=1) for name in names}
    return Played(periods=plan.periods - plan.counted_from, cycles=plan.cycles, **joined)


@dataclass(slots=True, eq=False)
class _Chunk:
    """Some runs while they are played. ``came`` and ``gone`` count from the beginning on."""

    plan: Plan
    drawn: Drawn
    runs: int
    came: Counts = field(init=False)
    """(periods + 1 and a span more, rows, runs): [t + 1] is what came by period t, [0] what was there before."""
    gone: Counts = field(init=False)
    asked: Counts = field(init=False)
    """All that came or is on order; the position is this less what is gone, and what is kept aside."""
    aside: list[tuple[int, Counts]] = field(init=False)
    """(period in which it joins the queue, pieces), soonest expiry first."""
    way: OnTheWay = field(init=False)
    fresh: set[int] = field(init=False)
    """Periods in which anything joined the queue, and after whose life anything can expire."""
    ending: Counts = field(init=False)
    """(periods and a span more, rows): of the first lots in the queue, pieces whose last period is over by then."""
    lives: tuple[int, ...] = field(init=False)
    """The lives that rows have, each once."""
    sums: dict[str, Counts] = field(init=False)
    begun: tuple[Counts, Counts, Counts, Counts] = field(init=False)
    """When counting began: asked, came, the position, and what was there."""
    joined: Counts = field(init=False)
    """What has joined the queue from aside since then."""
    touched: Flags = field(init=False)
    """Where something was lost in the cycle that is going on."""
    one: Counts = field(init=False)
    """Room to compute in."""

    def __post_init__(self) -> None:
        plan, shape = self.plan, (len(self.plan.life), self.runs)
        span = 0 if plan.watched is None else int((plan.watched - np.arange(len(plan.watched))[:, None]).max())
        ends = plan.periods + max(0, span) + 1
        self.came = np.zeros((ends + 1, *shape), np.int32)
        self.ending = np.zeros((ends, shape[0]), np.int32)
        self.gone, self.asked, self.one = (np.zeros(shape, np.int32) for _ in range(3))
        self.aside, self.way, self.fresh = [], OnTheWay(plan.unready), set()
        self.lives = tuple(set(plan.life.tolist()))
        for row, last, pieces in sorted(plan.lots, key=lambda lot: lot[1]):
            joins = last - int(plan.life[row]) + 1
            if joins > 0:
                self.aside.append((joins, self._in_row(row, pieces)))
            else:
                self.came[0, row] += pieces
                self.asked[row] += pieces
                self.ending[max(last, 0) :, row] += pieces
        for row, period, pieces in plan.coming:
            self.way.sent(-1, period, period, self._in_row(row, pieces))
            self.asked[row] += pieces

    def _in_row(self, row: int, pieces: int) -> Counts:
        found = np.zeros_like(self.gone)
        found[row] = pieces
        return found

    def result(self) -> Played:
        """Plays all periods and closes the books."""
        plan = self.plan
        orders: Flags = np.any(plan.arrives >= 0, axis=1)
        self._count_from(0)
        for t in range(plan.periods):
            if t == plan.counted_from:
                self._count_from(t)
            self.way.begin(t)
            if orders[t]:
                self._order(t)
            self._arrive(t)
            self._serve(t)
            self._expire(t)
        return self._closed()

    def _count_from(self, t: int) -> None:
        names = ("lost", "short", "wasted", "kept")
        self.sums = {name: np.zeros_like(self.gone) for name in names}
        self.touched = np.zeros(self.gone.shape, np.bool_)
        self.joined = np.zeros_like(self.gone)
        self.begun = (self.asked.copy(), self.came[t].copy(), self._whole(self.asked), self._whole(self.came[t]))
        self.sums["peak"] = self.begun[3].copy()

    def _whole(self, total: Counts) -> Counts:
        """A total less what is gone, and what is kept aside."""
        found: Counts = total - self.gone
        for _, pieces in self.aside:
            found += pieces
        return found

    def _order(self, t: int) -> None:
        plan, drawn = self.plan, self.drawn
        pack, arrives, position = plan.pack[:, None], plan.arrives[t], self._whole(self.asked)
        position -= self.way.overdue
        counted = position - self._fading(t) if plan.watched is not None else position
        need = np.subtract(plan.level[t][:, None], counted)
        if drawn.known is not None:
            need += drawn.known[t]
        limits = []
        if plan.room is not None:
            leaving = 0 if drawn.leaving is None else np.minimum(drawn.leaving[t], self._whole(self.came[t]))
            limits.append(plan.room[:, None] - position + leaving)
        if drawn.lasting is not None:
            limits.append(drawn.lasting[t] - counted)
        elif plan.lasting is not None:
            limits.append(plan.lasting[t][:, None] - counted)
        packs = packs_to_order(need, pack, None if plan.least is None else plan.least[:, None], limits, plan.breaks)
        packs *= pack
        if t == 0 and plan.first is not None:
            np.copyto(packs, plan.first[:, None], where=plan.first[:, None] >= 0)
        if (arrives < 0).any():
            packs[arrives < 0] = 0
        self.asked += packs
        self._send(t, packs)

    def _send(self, t: int, pieces: Counts) -> None:
        arrives, patience = self.plan.arrives[t], self.plan.patience
        late: Sequence[int] = (0,) if self.drawn.late is None else np.unique(self.drawn.late[t]).tolist()
        periods = sorted(set(arrives.tolist()) - {-1})
        for period in periods:
            # where there is but one period, rows that order nothing bring nothing in it
            sent = pieces if len(periods) == 1 else np.where((arrives == period)[:, None], pieces, 0)
            for more in late:
                part = sent if self.drawn.late is None else np.where(self.drawn.late[t] == more, sent, 0)
                comes = period + more
                self.way.sent(t, comes, comes if patience is None else period + int(patience[t]), part)

    def _arrive(self, t: int) -> None:
        new, brought = self.came[t + 1], self.way.arriving(t)
        if brought is None:
            new[:] = self.came[t]
        else:
            self.fresh.add(t)
            np.add(self.came[t], brought, out=new)
        for joins, pieces in self.aside:
            if joins == t:
                self.fresh.add(t)
                for total in (new, self.asked, self.joined):
                    total += pieces
        self.aside = [(joins, pieces) for joins, pieces in self.aside if joins != t]
        here = np.subtract(new, self.gone, out=self.one)
        unready = self.way.standing(t)
        if unready or brought is not None:
            stands = sum((*unready, *(pieces for _, pieces in self.aside)), start=here)
            np.maximum(self.sums["peak"], stands, out=self.sums["peak"])

    def _serve(self, t: int) -> None:
        """Serves the period from what is in the queue, which ``_arrive`` left in ``one``, then from what is kept aside."""
        wanted, lost = self.drawn.demand[t], self.one
        np.minimum(lost, wanted, out=lost)
        self.gone += lost
        np.subtract(wanted, lost, out=lost)
        for _, pieces in self.aside:
            taken = np.minimum(pieces, lost)
            pieces -= taken
            lost -= taken
        self.sums["lost"] += lost
        begins = self.plan.cycle_begins
        if begins is None:
            self.sums["short"] += np.minimum(lost, 1, out=lost)
            return
        if begins[t].any():
            ended = begins[t] & begins[self.plan.counted_from : t].any(axis=0)
            self.sums["short"] += self.touched & ended[:, None]
            self.touched[begins[t]] = False
        self.touched |= lost > 0

    def _over(self, t: int) -> Counts:
        """(rows, runs or 1): of all that ever joined the queue, what has come to the end of its life by period t."""
        born = t + 2 - self.plan.life
        found: Counts
        if t + 2 <= min(self.lives):
            found = self.ending[t][:, None]
        elif len(self.lives) == 1:
            found = self.came[t + 2 - self.lives[0]]
        else:
            young = born <= 0
            found = self.came[np.maximum(born, 0), np.arange(len(born))]
            found[young] = self.ending[t][young, None]
        return found

    def _expire(self, t: int) -> None:
        if any(max(last, 0) == t for _, last, _ in self.plan.lots) or any(
            t + 1 - life in self.fresh for life in self.lives
        ):
            over = np.subtract(self._over(t), self.gone, out=self.one)
            np.maximum(over, 0, out=over)
            self.gone += over
            self.sums["wasted"] += over
        self.sums["kept"] += np.subtract(self.came[t + 1], self.gone, out=self.one)
        for _, pieces in self.aside:
            self.sums["kept"] += pieces

    def _fading(self, t: int) -> Counts:
        """What is expected to expire by the end of the period that is watched, in whole pieces, a half counting as one
        (as in core/orders.py). What is kept aside outlasts all deliveries up to now and is left out, and so is the
        order that is made now: it stands behind all that it could be short of.
        """
        plan = self.plan
        assert plan.watched is not None and plan.expected is not None
        last = plan.watched[t]
        for period in range(t, int(last.max()) + 1):
            # put right as the period is played
            self.came[period + 1] = self.came[period] + self.way.promised.get(period, 0)
        if int(last.max()) < t or not (self._over(int(last.max())) > self.gone).any():
            return np.zeros_like(self.gone)
        gone, fading = self.gone.astype(np.float64), np.zeros(self.gone.shape)
        for period in range(t, int(last.max()) + 1):
            gone += np.minimum(plan.expected[period][:, None], np.maximum(self.came[period + 1] - gone, 0))
            over = np.maximum(self._over(period) - gone, 0)
            gone += over
            fading += np.where((period <= last)[:, None], over, 0)
        return np.floor(fading + 0.5 + 1e-9).astype(np.int32)

    def _closed(self) -> Played:
        plan, sums = self.plan, self.sums
        asked, came, position, stood = self.begun
        demand = self.drawn.demand[plan.counted_from : plan.periods].sum(axis=0, dtype=np.int32)
        used = demand - sums["lost"] + sums["wasted"]
        ordered, arrived = self.asked - asked - self.joined, self.came[plan.periods] - came - self.joined
        gain = self._whole(self.asked) - position
        if not ((self._whole(self.came[plan.periods]) == stood + arrived - used) & (ordered == used + gain)).all():
            raise ArithmeticError("the books of a rehearsal do not balance")
        sums["kept"] += plan.unready * arrived
        return Played(periods=0, cycles=plan.cycles, demand=demand, ordered=ordered, gain=gain, **sums)
