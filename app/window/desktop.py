"""What the desktop asks of every program, as far as Qt tells: light or dark, high contrast, little motion."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication, QStyle


def palette_name() -> str:
    """The palette that the desktop asks for, by its name; dark where it does not say."""
    hints = QGuiApplication.styleHints()
    if _wants_contrast():
        return "contrast"
    light = hasattr(hints, "colorScheme") and hints.colorScheme() is Qt.ColorScheme.Light  # since Qt 6.5
    return "light" if light else "dark"


def wants_stillness() -> bool:
    """Whether the desktop has animations switched off; False where it does not say."""
    style = QApplication.style()
    return style.styleHint(QStyle.StyleHint.SH_Widget_Animation_Duration) <= 0


def _wants_contrast() -> bool:
    hints = QGuiApplication.styleHints()
    if not hasattr(hints, "accessibility"):  # since Qt 6.10
        return False
    try:
        return bool(hints.accessibility().contrastPreference() is Qt.ContrastPreference.HighContrast)
    except RuntimeError:  # PySide 6.11 takes the hints for its own and deletes them
        return False
