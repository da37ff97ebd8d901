"""Keeps an exception in a paint event from ending the program."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QWidget


@contextmanager
def reported() -> Iterator[None]:
    """Hand an exception to :data:`sys.excepthook`, as Qt does for slots.

    In what Qt calls while it paints, an exception that gets out crashes the process.
    """
    try:
        yield
    except Exception as error:
        sys.excepthook(type(error), error, error.__traceback__)


@contextmanager
def painting(widget: QWidget) -> Iterator[QPainter]:
    """A painter on a widget that ends whatever happens, with exceptions reported."""
    with reported():
        painter = QPainter(widget)
        try:
            yield painter
        finally:
            painter.end()
