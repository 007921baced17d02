"""The text of the square code on a kit's label, and its way back to a P-number.

``P-5.7J077``: the kit's number, a full stop, and what is left of its lot's code. No blank and no sign that a shell
obeys, so that a hand scanner can type it into a prompt or into a command line as it is. The lot tells a label of
another practice, or of a database that was begun anew, from the kit that bears the number here.
"""

import re

LONGEST = 10
"""Signs of a lot: with them and a number of five digits the smallest square code (21 by 21) still holds it."""

_SAID = re.compile(r"(?:P-?)?([0-9]{1,9})(?:\.([A-Z0-9]+))?", re.IGNORECASE | re.ASCII)


def mark(number: int, lot_code: str) -> str:
    """What stands in the square code of a kit."""
    kept = lot_mark(lot_code)
    return f"P-{number}.{kept}" if kept else f"P-{number}"


def lot_mark(lot_code: str) -> str:
    """The last plain letters and digits of a lot's code; "" where it has none. Capitals count, as they do in lots."""
    return re.sub(r"[^A-Za-z0-9]", "", lot_code)[-LONGEST:]


def said(text: str) -> tuple[int, str | None] | None:
    """(P-number, the lot's part or None) from ``P-5``, ``p5``, ``5`` or a label's text; None for anything else."""
    found = _SAID.fullmatch(text.strip())
    return None if found is None else (int(found[1]), found[2])


def names_a_kit(text: str) -> bool:
    """True for what can only be meant as a kit that is out: ``P-5``, with or without its lot."""
    return text.strip()[:2].upper() == "P-" and said(text) is not None
