"""Figures as the JSON contracts want them: null for silence and for what is not known, never -inf or NaN."""

from __future__ import annotations

import math


def level(value: float | None) -> float | None:
    """A level, a ratio or a change in decibels, to two decimals."""
    return rounded(value, 2)


def rounded(value: float | None, digits: int) -> float | None:
    """A number to so many decimals; None where it is no number."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0  # + 0.0 turns -0.0 into 0.0
