"""How far procedures go beyond the planned number of cycles, or fall short of it, and what that does to supplies."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stockroom.core.counts import Pmf
from stockroom.core.net_counts import Net, of_chances
from stockroom.core.practice import Procedure, Product
from stockroom.core.usage import used_by

LEAST_RECORDS = 8
"""Of fewer procedures done nothing is said about their spread: the planned number counts."""
Deviations = tuple[tuple[int, float], ...]
PLANNED: Deviations = ((0, 1.0),)
"""As planned for certain."""


def deviations(done: Mapping[int, int]) -> Deviations:
    """(cycles beyond plan, chance), from how often each was recorded; as planned where there are too few records."""
    records = sum(done.values())
    if records < LEAST_RECORDS:
        return PLANNED
    return tuple((beyond, number / records) for beyond, number in sorted(done.items()))


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Loose pieces of one product for one procedure: as ``planned``; ``beyond`` that with their chances."""

    planned: int
    beyond: Net

    @property
    def each(self) -> Pmf:
        """The distribution of the pieces themselves."""
        return np.concatenate((np.zeros(self.planned + self.beyond.least), self.beyond.pmf))

    @property
    def certain(self) -> bool:
        """True where the number of cycles makes no difference."""
        return len(self.beyond.pmf) == 1


def pieces_used(
    procedure: Procedure, cycles: int | None, spread: Deviations, products: Mapping[str, Product]
) -> dict[str, Pieces]:
    """Product -> the loose pieces that a booking with so many planned cycles takes (the usual number where None)."""
    usual = procedure.cycles if cycles is None else cycles
    planned = used_by(procedure, usual, products).loose
    takes = [(used_by(procedure, max(0, usual + beyond), products).loose, chance) for beyond, chance in spread]
    codes = {code for loose, _ in takes for code in loose} | planned.keys()
    return {
        code: Pieces(
            planned.get(code, 0),
            of_chances((loose.get(code, 0) - planned.get(code, 0), chance) for loose, chance in takes),
        )
        for code in sorted(codes)
    }
