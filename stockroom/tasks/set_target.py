"""Another service target for one product: a changed practice file, recorded with who and why."""

from dataclasses import replace
from decimal import Decimal, InvalidOperation

from stockroom.core.records import Finding
from stockroom.errors import Refused
from stockroom.formats.practice_edit import with_target
from stockroom.store.engine import Store
from stockroom.tasks.act import Act, Recorded
from stockroom.tasks.places import product_named
from stockroom.tasks.rules import rules, text_in_force
from stockroom.tasks.setup import compared, load


def set_target(store: Store, act: Act, product: str, target: str, why: str) -> Recorded:
    """Loads the practice file in force with that one value changed; it holds from the act's instant.

    Raises: Refused for an unknown product, a target that is no chance, and as ``with_target``.
    """
    wanted = _chance(target)
    with store.reading() as conn:
        found = product_named(rules(conn, act.at).practice, product)
        text = with_target(text_in_force(conn, act.at), found.code, wanted)
        loading = compared(conn, text.encode(), "the changed practice file", act.at)
    if not loading.changes:
        raise Refused("same-target", f"the target of {found.code} is {wanted} already", "nothing has to be done")
    done = load(store, act, loading, why=why)
    copy = Finding(
        "own-copy", "the practice file on your own disk does not say so yet; loading it would set the target back",
        "take the one on record: stockroom practice show > practice.toml",
    )  # fmt: skip
    return replace(done, findings=(*done.findings, copy))


def _chance(text: str) -> Decimal:
    """Raises: Refused."""
    try:
        found = Decimal(text.strip())
    except InvalidOperation:
        found = Decimal(0)
    if not (found.is_finite() and 0 < found < 1 and found == round(found, 6)):
        raise Refused(
            "bad-target", f'"{text}" is not a service target', "give a part of 1, like 0.95, with at most six decimals"
        )
    return Decimal(f"{found.normalize():f}")
