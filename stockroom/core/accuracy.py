"""How good forecasts were: errors and scaled errors. Arrays of equal length, forecast less what came."""

from dataclasses import dataclass

import numpy as np

from stockroom.core.booking_curve import Floats


@dataclass(frozen=True, slots=True)
class Errors:
    """Of some replayed weeks: mean absolute error, root mean square error, and bias (above zero: too much)."""

    mae: float
    rmse: float
    bias: float


def errors(forecast: Floats, came: Floats) -> Errors:
    """The errors of forecasts. Raises: ValueError where there is none."""
    if len(came) == 0:
        raise ValueError("no week to compare")
    off = np.asarray(forecast, float) - np.asarray(came, float)
    return Errors(float(np.abs(off).mean()), float(np.sqrt((off**2).mean())), float(off.mean()))


def scaled(mae: float, naive_mae: float) -> float | None:
    """Mean absolute scaled error: over that of the naive forecast (Hyndman & Koehler 2006); None where that has none."""
    return mae / naive_mae if naive_mae > 0 else None
