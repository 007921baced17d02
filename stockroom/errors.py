"""Floor 0: the one kind of error that the program raises on purpose.

Bad news about the data is a value (a finding) and never raised. An error is raised only when the job cannot be
done; it says what is wrong, with which value, and what to type next. docs/messages.md explains every slug.
"""

USAGE = 2
REFUSED = 3
DATABASE = 4
DEFECT = 70
INTERRUPTED = 130


class StockroomError(Exception):
    """The job cannot be done. ``what`` names the thing and the value, ``todo`` what to do about it."""

    exit_code = REFUSED

    def __init__(self, slug: str, what: str, todo: str = "") -> None:
        super().__init__(what)
        self.slug = slug
        self.what = what
        self.todo = todo


class Refused(StockroomError):
    """An unknown name, a bad file, a bad value: nothing was written (exit 3)."""


class UsageError(StockroomError):
    """The command line itself is wrong (exit 2)."""

    exit_code = USAGE


class DatabaseError(StockroomError):
    """The database is missing, busy, damaged or at another revision (exit 4)."""

    exit_code = DATABASE


class Unsaid(StockroomError):
    """The answer could not be written; what a recording command recorded stands (exit 70)."""

    exit_code = DEFECT


def nearest(word: str, known: list[str], alike: float = 0.5) -> str:
    """``; did you mean "x"?`` for the closest of ``known``, or the empty string where none is ``alike`` (0 to 1)."""
    from difflib import get_close_matches

    folded = {k.casefold(): k for k in known}
    close = get_close_matches(word.casefold(), list(folded), n=1, cutoff=alike)
    return f'; did you mean "{folded[close[0]]}"?' if close else ""


def unknown(slug: str, noun: str, word: str, known: list[str], todo: str = "") -> Refused:
    """The error for a name that is not known: names the nearest one, else lists what there is."""
    hint = nearest(word, known)
    listed = ", ".join(sorted(known)[:12]) or "none yet"
    return Refused(slug, f'there is no {noun} "{word}"{hint}', todo or f"known: {listed}")
