"""Text on its way to a terminal or a pipe: without what steers a terminal, in letters that its encoding has."""

import sys

from stockroom.errors import Unsaid


def _unsaid() -> Unsaid:
    return Unsaid(
        "no-output",
        "the answer could not be written; what was recorded stands",
        "look before you record it again: stockroom records history",
    )


def plain(text: str) -> str:
    """Text without control characters, which a terminal would obey."""
    return "".join(c if c.isprintable() else " " for c in text)


NARROW = {"°": "", "…": "...", "’": "'", "–": "-", "×": "x", "✗": "x", "−": "-"}
"""What is written instead where an encoding has no such letter."""


def _narrowed(text: str, encoding: str) -> str:
    """The text in the letters that an encoding has."""
    for letter in sorted(set(text)):
        if letter.encode(encoding, "ignore") == b"":
            text = text.replace(letter, NARROW.get(letter, "?"))
    return text


def put(text: str) -> None:
    """Writes to standard output whatever its encoding can show. Raises: StockroomError where nothing can be written."""
    out = sys.stdout
    if out is None:
        raise _unsaid()
    try:
        encoding = getattr(out, "encoding", None) or "utf-8"
        try:
            out.write(text)
        except UnicodeEncodeError:
            out.write(_narrowed(text, encoding))
        out.flush()
    except BrokenPipeError:
        raise
    except (OSError, ValueError):
        raise _unsaid() from None
