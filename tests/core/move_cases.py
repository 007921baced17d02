"""Small practices at a moment: two cold kits, bookings, kits out and in the fridge; and what a move does there."""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date

from diary_cases import CK, HOUR, kit, opening, practice, stock
from hypothesis import strategies as st
from plan_cases import changes, changing, weeks

from stockroom.core.allotment import Allotment, allotments
from stockroom.core.moves import Moves
from stockroom.core.opening import Opening
from stockroom.core.practice import Practice
from stockroom.core.takeout import FridgeStock, Kit
from stockroom.core.warmup import Need

QUARTER = 900
GEL = replace(CK, code="GEL", warmup_seconds=30 * HOUR, max_out_seconds=None)


@dataclass(frozen=True)
class Case:
    """A small practice at a moment: two products, of one of which nobody knows how long it may be out."""

    place: Opening
    rules: Practice
    needs: list[Need]
    kits: list[Kit]
    fridge: list[FridgeStock]
    now: int

    def again(self, needs: list[Need], later: int = 0) -> list[Allotment]:
        return allotments(needs, self.kits, self.fridge, self.rules, {"": self.place}, self.now + later)

    def moves(self) -> Moves:
        every = {need.booking for need in self.needs}
        return Moves(self.needs, self.again(self.needs), self.again, {"": self.place}, self.now, every)

    def moved(self, starts: dict[int, int]) -> list[Need]:
        """One that begins now is meant to begin in a second: else it would have begun, and be out of the plan."""
        return [
            n._replace(start=max(at, self.now + 1), end=at + n.end - n.start)
            if (at := starts.get(n.booking)) is not None
            else n
            for n in self.needs
        ]


@st.composite
def cases(draw) -> Case:
    """Everything lies on quarters of an hour, so that no start between two of them can be the first."""
    place = opening(draw(changing), draw(weeks), exceptions=draw(changes))
    products = (replace(CK, max_out_seconds=draw(st.sampled_from([36, 50, 72])) * HOUR), GEL)
    rules = practice(*products, margin=draw(st.sampled_from([0, 15])), rounds=draw(st.sampled_from([(), (525, 990)])))
    now = place.midnight(date(2026, 3, 27)) + draw(st.integers(0, 96)) * QUARTER
    needs: list[Need] = []
    for n in range(draw(st.integers(1, 5))):
        start = now + draw(st.integers(1, 3 * 96)) * QUARTER
        for product in draw(st.sampled_from([("CK",), ("CK",), ("CK", "CK"), ("CK", "GEL"), ("GEL",)])):
            needs.append(Need(n, start, start + 1800, "p", product, ""))
    ago = st.integers(0, 60 * 4)
    kits = [
        kit(
            n, "2026-03-01T00:00", product=draw(st.sampled_from(["CK", "CK", "GEL"])), pulled_at=now - draw(ago) * QUARTER,
            expiry_end=now + draw(st.integers(1, 20)) * 86_400, promised_to=draw(st.none() | st.integers(0, 4)),
        )
        for n in range(draw(st.integers(0, 3)))
    ]  # fmt: skip
    fridge = [
        stock(
            draw(st.integers(1, 2)), product=product, lot=n, lot_code=f"L{n}",
            expiry_end=place.midnight(date(2026, 3, 28)) + draw(st.integers(0, 6)) * 86_400,
            out_before=draw(st.sampled_from([0, 0, 8])) * HOUR,
        )
        for n, product in enumerate(draw(st.lists(st.sampled_from(["CK", "GEL"]), max_size=3)))
    ]  # fmt: skip
    return Case(place, rules, needs, kits, fridge, now)


def served(made: list[Allotment]) -> Counter[int]:
    """Booking -> how many of its kits it has."""
    return Counter(need.booking for one in made for i, need in enumerate(one.needs) if one.source(i) is not None)


def whole(case: Case, starts: dict[int, int], later: int = 0) -> bool:
    """True where the bookings moved are served whole, and every other one has as many kits as before."""
    before, after = served(case.again(case.needs, later)), served(case.again(case.moved(starts), later))
    wanted = Counter(n.booking for n in case.needs)
    return all(after[b] == wanted[b] if b in starts else after[b] >= before[b] for b in wanted)
