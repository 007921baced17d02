"""How many procedures some stock covers: a procedure needs all that it uses, so the product that is scarcest decides."""

from collections.abc import Mapping
from dataclasses import dataclass

from stockroom.core.practice import Procedure, Product
from stockroom.core.usage import used_by


@dataclass(frozen=True, slots=True)
class Coverage:
    """How many of one procedure could be done, and which products stop the one after these.

    ``procedures`` is None, without a ``bottleneck``, for a procedure that takes nothing from stock.
    """

    procedures: int | None
    bottleneck: tuple[str, ...]


def coverage(procedure: Procedure, products: Mapping[str, Product], pieces: Mapping[str, int]) -> Coverage:
    """How many of a procedure ``pieces`` (by code; none of what is not named) cover at its usual number of cycles.

    What its kits contain is used before loose stock, kit by kit: what one leaves over is not there for the next. The
    procedure is looked at alone: others that use the same products share them with it.
    """
    each = used_by(procedure, None, products).loose
    reach = {code: max(0, pieces.get(code, 0)) // n for code, n in each.items()}
    if not reach:
        return Coverage(None, ())
    least = min(reach.values())
    return Coverage(least, tuple(sorted(code for code, n in reach.items() if n == least)))
