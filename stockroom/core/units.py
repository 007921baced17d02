"""Temperatures and quantities: parsed from what people and instruments write, printed back.

Temperatures are whole thousandths of a degree Celsius, so that two equal readings compare equal.
°F converts by (F - 32) x 5/9 (the definition of the scale), rounded half to even at the thousandth.
"""

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal

from stockroom.errors import Refused

SLIP_LOW, SLIP_HIGH = -60_000, 60_000
"""Beyond these (rules: -60 to +60 °C) a reading is surely a slip."""

LIKELY_LOW, LIKELY_HIGH, LIKELY_STEP = -10_000, 20_000, 5_000
"""Beyond these, or this far from the last reading, a reading typed by hand is asked about."""


def milli_celsius(text: str, *, fahrenheit: bool = False) -> int:
    """Thousandths of °C from ``4.4``, ``4,4``, ``-0.4``, ``39.9`` (with ``fahrenheit``).

    Raises: Refused where the text is no number or no refrigerator could show it (beyond -60 to +60 °C).
    """
    clean = text.strip().replace("−", "-").replace(",", ".")
    for unit in ("°C", "°F", "C", "F", "c", "f"):
        if clean.endswith(unit):
            if unit[-1] in "Ff":
                fahrenheit = True
            clean = clean[: -len(unit)].strip()
            break
    if not re.fullmatch(r"[-+]?[0-9]{1,6}(\.[0-9]{0,12})?", clean):
        raise Refused("bad-temperature", f'"{text}" is not a temperature', "type it like 4.4 or -0.4")
    value = Decimal(clean)
    if abs(value) > 1000:
        raise Refused(
            "bad-temperature",
            f"{text} °{'F' if fahrenheit else 'C'} cannot be a fridge",
            "read the display again",
        )
    milli = milli_from_decimal(value, fahrenheit=fahrenheit)
    if not SLIP_LOW <= milli <= SLIP_HIGH:
        raise Refused(
            "bad-temperature",
            f"{text} °{'F' if fahrenheit else 'C'} is beyond -60 to +60 °C and surely a slip",
            "read the display again; a °F display needs --fahrenheit",
        )
    return milli


def milli_from_decimal(value: Decimal, *, fahrenheit: bool = False) -> int:
    """Thousandths of °C from a finite decimal in °C or °F."""
    celsius = (value - 32) * 5 / 9 if fahrenheit else value
    return int((celsius * 1000).to_integral_value(rounding=ROUND_HALF_EVEN))


def celsius(milli: int | None) -> float | None:
    """°C as a number with at most 3 decimals, as the JSON answers give it."""
    return None if milli is None else milli / 1000


def degrees(milli: int | None) -> str:
    """``4.4 °C`` for people: at least one decimal, no more than are there; a dash for nothing."""
    if milli is None:
        return "–"
    text = f"{milli / 1000:.3f}".rstrip("0")
    return (text + "0" if text.endswith(".") else text) + " °C"


def whole(text: str, noun: str = "quantity", *, least: int = 1) -> int:
    """A whole number of pieces, at least ``least``.

    Raises: Refused for anything else, zero included: a quantity of zero is surely a slip.
    """
    if not re.fullmatch(r"\s*[-−+]?[0-9]{1,12}\s*", text):
        raise Refused("bad-quantity", f'"{text}" is not a whole number', f"give the {noun} as 1, 2, 3 …")
    value = int(text.replace("−", "-"))
    if value < least:
        raise Refused("bad-quantity", f"a {noun} of {value} cannot be", f"give {least} or more")
    if value > 1_000_000:
        raise Refused("bad-quantity", f"a {noun} of {value} is surely a slip", "check the number")
    return value


def few(names: Sequence[str], most: int = 4) -> str:
    """``B-1, B-2, B-3`` and how many more there are."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def count(n: int, noun: str, many: str = "") -> str:
    """``1 kit``, ``3 kits``."""
    return f"{n} {noun if n == 1 else many or noun + 's'}"


def length(seconds: float) -> str:
    """A length of time for people: ``35 min``, ``4 h 10 min``, ``2 d 3 h``."""
    minutes = round(seconds / 60)
    if minutes < 120:
        return f"{minutes} min" if seconds >= 600 else f"{seconds / 60:.1f} min"
    hours, left = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {left} min" if left else f"{hours} h"
    return f"{hours // 24} d {hours % 24} h"


def quoted(name: str) -> str:
    """A name as it has to be typed at a shell."""
    if any(c in name for c in '"$`\\!'):
        return "'" + name.replace("'", "'\\''") + "'"
    return f'"{name}"'


def quoted_lot(lot: str) -> str:
    """A lot as it has to be typed: in quotes only where it needs them."""
    return lot if all(c.isalnum() or c in "-_./" for c in lot) else quoted(lot)
