"""A booking carries the practice's own code for a patient, never a name, a birth date or a telephone number."""

import re

_DATE = re.compile(
    r"\d{1,4}[-./ ]\d{1,2}[-./ ]\d{1,4}|(?:19|20)\d{6}|(?:0[1-9]|[12]\d|3[01])(?:0[1-9]|1[0-2])(?:19|20)?\d\d"
)
_INITIAL = re.compile(r"(?:^|[ ,])[^\W\d_]\.?[ ,]+[^\W\d_]{2,}|[^\W\d_]{2,}[ ,]+[^\W\d_](?:\.|[ ,]|$)")
"""A word beside a single letter: an initial with a surname, whichever comes first."""
_PHONE = re.compile(r"\+?\(?\d[\d ()/.-]{5,}\d")


def not_a_code(text: str, pattern: str | None) -> str | None:
    """Why ``text`` is not a reference code, None where it is. ``pattern`` is the practice's own, if it set one."""
    code = text.strip()
    if pattern is not None:
        return None if re.fullmatch(pattern, code) else f"it does not look like {pattern}"
    if not code or len(code) > 30:
        return "it is empty or longer than 30 characters"
    if any(not c.isprintable() for c in code):
        return "it has characters that cannot be printed"
    if not any(c.isdigit() for c in code):
        return "without any digit it looks like a name"
    if like_a_name(code) or _INITIAL.search(code):
        return "it looks like a name"
    if "@" in code:
        return "it looks like an e-mail address"
    if _DATE.fullmatch(code):
        return "it looks like a birth date"
    if _PHONE.fullmatch(code) and sum(c.isdigit() for c in code) >= 7:
        return "it looks like a telephone number"
    return None


def like_a_name(text: str) -> bool:
    """True where two words of letters stand beside one another."""
    return re.search(r"[^\W\d_]{2,}[ ,]+[^\W\d_]{2,}", text) is not None
