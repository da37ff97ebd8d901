"""From how far letters can be read: the angle that they fill, from the size that a screen is said to have.

ISO 9241-303:2011 asks for capitals that fill 20 to 22 minutes of arc, and 16 at the least. 20 are asked for
here: a capital then is the 172nd part of the distance high.
"""

from __future__ import annotations

import math

from PySide6.QtGui import QFont, QFontMetricsF, QScreen

_ARC = math.radians(20 / 60)
_PLAUSIBLE_PX_PER_MM = (1.0, 16.0)
"""Between a wall display and a telephone; whatever lies outside was made up."""


def cap_height_mm(distance_m: float) -> float:
    """How high capitals must be to be read at a distance."""
    return 1000 * distance_m * math.tan(_ARC)


def distance_m(cap_mm: float) -> float:
    """From how far capitals of this height can be read."""
    return cap_mm / (1000 * math.tan(_ARC))


def pixels_per_mm(screen: QScreen | None) -> float | None:
    """How many of the window's pixels are a millimetre, as the system says it; None when it does not know."""
    if screen is None:
        return None
    height_mm = screen.physicalSize().height()
    density = screen.geometry().height() / height_mm if height_mm > 0 else 0.0
    low, high = _PLAUSIBLE_PX_PER_MM
    return density if low <= density <= high else None


def cap_height_px(font: QFont) -> float:
    """The height of a font's capitals."""
    return QFontMetricsF(font).capHeight()
