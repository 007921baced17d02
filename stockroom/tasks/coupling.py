"""What hangs together: a procedure needs all that it uses, so one scarce product stops it whatever else is there."""

from collections.abc import Mapping
from dataclasses import dataclass

from stockroom.core.coverage import Coverage, coverage
from stockroom.core.orders import joint_chance
from stockroom.core.usage import used_by
from stockroom.tasks.order_basis import SiteNow, pieces


@dataclass(frozen=True, slots=True)
class Coupled:
    """One procedure at a site: how many of it the usable stock covers ``now``, and with what is on order and proposed.

    ``chance`` is that of nothing being short for it until the next order, this one included, if its products run short
    independently; None where one of them is never delivered.
    """

    site: str
    procedure: str
    now: Coverage
    with_order: Coverage
    chance: float | None


def coupled(here: SiteNow, after: SiteNow, coming: Mapping[str, int], chances: Mapping[str, float]) -> list[Coupled]:
    """Every procedure of a site that takes something from stock, each looked at alone.

    ``after``: the site once what is proposed to go between sites has gone; ``coming``: pieces on order and proposed, by
    product; ``chances``: of no shortage, by product.
    """
    products = here.products
    users = [(p, set(used_by(p, None, products).loose)) for p in here.practice.procedures]
    codes = {code for _, used in users for code in used}
    there, then = (
        {code: sum(n for _, n in pieces(site, products[code], "usable")) for code in codes} for site in (here, after)
    )
    later = {code: n + coming.get(code, 0) for code, n in then.items()}
    return [
        Coupled(
            here.name, procedure.code, coverage(procedure, products, there), coverage(procedure, products, later),
            joint_chance(chances, needed) if needed <= chances.keys() else None,
        )
        for procedure, needed in users
        if needed
    ]  # fmt: skip
