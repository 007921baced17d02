"""What a logger file's labels say: a time, a temperature, something else, a unit, a distance from UTC.

Plain words of a dozen languages as they stand above such columns (common practice, no source); accents and case do
not matter. A lone C or F counts as a unit only in its usual place: in brackets, behind the word, or by itself.
"""

import re
import unicodedata
from collections.abc import Sequence
from typing import Literal

from stockroom.formats.logger_times import MOST_OFFSET_HOURS, shape

Unit = Literal["C", "F"]

NUMBER = re.compile(
    r"(?P<number>[+\-−]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?)"
    r"(?:\s*(?:(?:°|º|˚|deg(?:rees)?)?\s*(?P<letter>[CcFf])|(?P<sign>[℃℉])))?"
)
"""A number as instruments write it, with a decimal point or comma, perhaps with its unit."""

_LONGEST_NUMBER = 40

_TIME_WORDS = {
    "time", "timestamp", "datetime", "date", "day", "when", "recorded", "logged", "zeit", "uhrzeit",
    "zeitstempel", "datum", "tijd", "tijdstip", "heure", "jour", "horodatage", "temps", "tempo", "hora",
    "fecha", "data", "ora", "dato", "tid", "tidpunkt", "klockslag", "aika", "kellonaika", "pvm", "czas",
    "godzina", "cas", "epoch", "unix",
}  # fmt: skip
_TEMPERATURE_STARTS = ("temp", "celsius", "fahrenheit", "degc", "degf", "teplota", "lampotila", "homerseklet")
_NO_TEMPERATURE = {"temps", "tempo"}
"""The word for time in French, Italian and Portuguese."""
_LIKELY_WORDS = {
    "t", "ch", "channel", "kanal", "canal", "probe", "sensor", "sonde", "sonda", "fuhler", "value", "reading",
    "wert", "valeur", "fridge",
}  # fmt: skip
_OTHER_STARTS = (
    "dew", "taupunkt", "dauwpunt", "rosee", "humid", "feucht", "vocht", "luftfeucht", "batt", "volt", "akku",
    "rssi", "signal", "alarm", "limit", "grenz", "soll", "setpoint", "serial", "lux", "pressure", "druck",
    "interval", "elapsed",
)  # fmt: skip
_OTHER_WORDS = {"no", "nr", "id", "index", "num", "row", "rh", "hum", "count", "n"}
_DEGREES = r"(?:°|º|˚|(?<![a-z])deg(?:rees?)?\.?)\s*"
_STATED_OFFSET = re.compile(
    r"\b(?:UTC|GMT)(?:\s*([+-])\s*([0-9]{1,2})(?::?([0-9]{2}))?)?(?![A-Za-z0-9])", re.IGNORECASE
)


def _words(label: str) -> set[str]:
    bare = unicodedata.normalize("NFKD", label[:100].casefold())
    return set(re.findall("[a-z]+", "".join(c for c in bare if not unicodedata.combining(c))))


def says_time(label: str) -> bool:
    """True for a label with a word for a time or a date."""
    return any(w in _TIME_WORDS or w.startswith(("datetime", "timestamp")) for w in _words(label))


def says_temperature(label: str) -> bool:
    """True for a label with a word for a temperature or a unit of it."""
    words = _words(label) - _NO_TEMPERATURE
    return any(w.startswith(_TEMPERATURE_STARTS) for w in words) or unit_in(label) is not None


def says_other(label: str) -> bool:
    """True for a label of something that is no fridge's temperature: humidity, dew point, a limit, a counter."""
    words = _words(label)
    if "%" in label or any(w.startswith(_OTHER_STARTS) for w in words):
        return True
    return bool(words & _OTHER_WORDS) and not says_temperature(label)


def may_be_temperature(label: str) -> bool:
    """True for a label that often stands above temperatures without saying so: a channel, a probe, a fridge."""
    return bool(_words(label) & _LIKELY_WORDS)


def is_header(row: Sequence[str]) -> bool:
    """True for a line with a word for the time in one field and one for the temperature in another."""
    labels = [(says_time(c), says_temperature(c)) for c in row[:100] if not shape(c)]
    return any(t and not v for t, v in labels) and any(v and not t for t, v in labels)


def unit_in(label: str) -> Unit | None:
    """The unit that a label states, None where it states none or both."""
    low = label[:200].casefold()
    found: list[Unit] = []
    units: tuple[tuple[Unit, str, str], ...] = (("C", "c", "celsius|℃"), ("F", "f", "fahrenheit|℉"))
    for unit, letter, names in units:
        behind = rf"(?<![a-z])temp(?:erature?|eratuur|eratura)?[\s_.,:/-]*{letter}$"
        if re.search(rf"{names}|{_DEGREES}{letter}(?![a-z])|[(\[]\s*{letter}\s*[)\]]|{behind}|^{letter}$", low):
            found.append(unit)
    return found[0] if len(found) == 1 else None


def number_in(text: str) -> re.Match[str] | None:
    """The number that a field holds and nothing else, as NUMBER finds it. No instrument writes forty characters."""
    return NUMBER.fullmatch(text) if len(text) <= _LONGEST_NUMBER else None


def unit_behind(match: re.Match[str]) -> Unit | None:
    """The unit written behind a number, as NUMBER found it."""
    letter, sign = match["letter"] or "", match["sign"] or ""
    return "C" if letter in ("C", "c") or sign == "℃" else "F" if letter or sign else None


def offset_in(label: str) -> tuple[int, str] | None:
    """Seconds east of UTC, where a label says UTC, GMT or a distance from it, and its own words for it."""
    match = _STATED_OFFSET.search(label)
    if match is None:
        return None
    minutes = int(match[2] or 0) * 60 + int(match[3] or 0)
    if minutes > MOST_OFFSET_HOURS * 60 or int(match[3] or 0) > 59:
        return None
    return (-60 if match[1] == "-" else 60) * minutes, match[0].strip()
