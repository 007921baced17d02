"""What a procedure uses: each + ceil(cycles / per_cycles) + spare, and how much of it from loose stock."""

from collections.abc import Mapping
from dataclasses import dataclass

from stockroom.core.practice import Procedure, Product, Use
from stockroom.errors import Refused


@dataclass(frozen=True, slots=True)
class Used:
    """Pieces by product code; a product of which nothing is used is not in it.

    ``gross`` is all that is used. ``loose`` is what stock goes down by: the kits, and of the supplies what is
    not packed inside those kits.
    """

    gross: dict[str, int]
    loose: dict[str, int]


def used_by(procedure: Procedure, cycles: int | None, products: Mapping[str, Product]) -> Used:
    """What one booking of the procedure uses with so many cycles (its usual number where None).

    What the used kits contain goes first, so loose = gross - contained, and never below zero.

    Raises: Refused for a number of cycles below zero.
    """
    number = procedure.cycles if cycles is None else cycles
    if number < 0:
        raise Refused("bad-cycles", f"{number} cycles of {procedure.code} cannot be", "give 0 or more")
    gross: dict[str, int] = {}
    for use in procedure.uses:
        gross[use.product] = gross.get(use.product, 0) + _pieces(use, number)
    contained: dict[str, int] = {}
    for code, quantity in gross.items():
        kit = products.get(code)
        for inside, each in kit.contains if kit else ():
            contained[inside] = contained.get(inside, 0) + each * quantity
    loose = {code: quantity - contained.get(code, 0) for code, quantity in gross.items()}
    return Used({c: n for c, n in gross.items() if n > 0}, {c: n for c, n in loose.items() if n > 0})


def _pieces(use: Use, cycles: int) -> int:
    """The rule for one product. What is counted by cycles only has no spare where there are no cycles."""
    by_cycles = -(-cycles // use.per_cycles) if use.per_cycles else 0
    if use.per_cycles and not use.each and not by_cycles:
        return 0
    return use.each + by_cycles + use.spare
