"""Which procedure, patient code and cycles an event's words mean. What is not certain is said, never guessed."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from stockroom.core.patient import not_a_code
from stockroom.formats.calendar_text import Part
from stockroom.formats.table_text import shown

MOST_TEXT = 2000
"""Characters of a summary and of a description that are looked at."""


@dataclass(frozen=True, slots=True)
class Words:
    """What the practice calls things. ``procedures`` maps every word for one to its code."""

    procedures: Mapping[str, str]
    patient_code: str | None = None
    """The pattern of a patient code, None where the practice set none."""
    sites: Sequence[str] = ()
    states: Mapping[str, str] = field(default_factory=dict)
    """The file's word for a state -> booked or cancelled."""


def procedure_in(event: Part, words: Words) -> tuple[str, str]:
    """(code, ''), or ('', why not): a category that is a procedure's word, else one that stands in the summary."""
    known = {name.casefold(): code for name, code in words.procedures.items()}
    categories = {known[c.casefold()] for line in event.all("CATEGORIES") for c in line.texts if c.casefold() in known}
    found = categories or _named(event.text("SUMMARY")[:MOST_TEXT], known)
    if len(found) == 1:
        return next(iter(found)), ""
    if found:
        return "", f"it names more than one procedure: {', '.join(sorted(found))}"
    return "", "it names no procedure, neither as a category nor in its summary"


def _named(text: str, known: Mapping[str, str]) -> set[str]:
    """The procedures whose word stands in a text, whole; one that is part of a longer word for another is not meant."""
    low = text.casefold()
    spans = [
        (m.start(), m.end(), code)
        for name, code in known.items()
        for m in re.finditer(rf"(?<![\w-]){re.escape(name)}(?![\w-])", low)
    ]
    return {
        code
        for a, b, code in spans
        if not any(c <= a and b <= d and (c, d) != (a, b) for c, d, _ in spans)
    }  # fmt: skip


def patient_in(event: Part, words: Words) -> tuple[str, str]:
    """(code, ''), or ('', why not): X-PATIENT, ``patient=CODE``, else the one match of the practice's pattern."""
    text = "\n".join(event.text(n)[:MOST_TEXT] for n in ("SUMMARY", "DESCRIPTION"))
    said = [event.text("X-PATIENT").strip(), *re.findall(r"\bpatient\s*=\s*([^\s,;]+)", text, re.IGNORECASE)]
    found = {code for code in said if code}
    if not found and words.patient_code is not None:
        found = set(_matches(words.patient_code, text))
    if len(found) > 1:
        return "", "it has more than one patient code"
    if not found:
        more = "" if words.patient_code else "; write patient=CODE into it, or give --patient-pattern"
        return "", f"it has no patient code{more}"
    code = next(iter(found))
    # What comes next to a name must not take it along: a code has no blank in it.
    why = "it has a blank in it and may hold a name" if re.search(r"\s", code) else not_a_code(code, words.patient_code)
    return ("", f"its patient code cannot stand: {why}") if why else (code, "")


def _matches(pattern: str, text: str) -> Iterable[str]:
    bare = pattern.removeprefix("^").removesuffix("$")
    return (m[0] for m in re.finditer(rf"(?<![\w-])(?:{bare})(?![\w-])", text))


def cycles_in(event: Part) -> tuple[int | None, str]:
    """(N or None, ''), or (None, why not): X-CYCLES, or ``cycles=N`` in the summary or the description."""
    text = "\n".join(event.text(n)[:MOST_TEXT] for n in ("SUMMARY", "DESCRIPTION"))
    said = [event.text("X-CYCLES").strip(), *re.findall(r"\bcycles\s*=\s*(\S+)", text, re.IGNORECASE)]
    found = {n.rstrip(".,;") for n in said if n}
    if not found:
        return None, ""
    if len(found) > 1:
        return None, "it has more than one number of cycles"
    number = next(iter(found))
    if not re.fullmatch("0*[1-9][0-9]{0,3}", number):
        return None, f"{shown(number)} is not a number of cycles"
    return int(number), ""


def site_in(event: Part, words: Words) -> str:
    """The site that the event's place names, empty where it names none (a room, say)."""
    place = event.text("LOCATION").strip().casefold()
    return next((s for s in words.sites if s and s.casefold() == place), "")


def state_in(event: Part, words: Words) -> tuple[str, str]:
    """(booked or cancelled, ''), or ('', why not)."""
    if event.method == "CANCEL":
        return "cancelled", ""
    if event.method in ("REPLY", "COUNTER", "DECLINECOUNTER", "REFRESH"):
        return "", f"it is somebody's answer (METHOD:{event.method}), no booking"
    status = event.text("STATUS").strip()
    usual = {"": "booked", "confirmed": "booked", "tentative": "booked", "cancelled": "cancelled"}
    known = {**usual, **{k.casefold(): v for k, v in words.states.items()}}
    state = known.get(status.casefold())
    return (state, "") if state else ("", f"its status {shown(status)} is not known: say --state booked={status[:20]}")
