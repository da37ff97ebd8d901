"""The window as a program: opens it, and stays until it closes."""

from __future__ import annotations

import signal
from functools import cache
from importlib import resources

import shiboken6
from PySide6.QtCore import QTimer
from PySide6.QtGui import QIcon, QPixmap
from PySide6.QtWidgets import QApplication

from app.window.crash import CrashReports
from app.window.language import translate_dialogs
from app.window.main import MainWindow
from app.window.services import Services
from app.words import window as words


def run(services: Services) -> int:
    """Open the window and stay until it closes; the exit status of the program."""
    application = _application()
    application.setApplicationName("swellmark")
    application.setApplicationDisplayName(words.title())
    application.setDesktopFileName("swellmark")
    application.setWindowIcon(icon())
    translate_dialogs(application)
    with CrashReports() as crashes:
        window = MainWindow(services, crashes)
        # Python sees a Ctrl-C the next time it runs, which the window's timer makes soon.
        # It closes from the event loop, because a signal may come in the middle of painting.
        before = signal.signal(signal.SIGINT, lambda *_: QTimer.singleShot(0, window.close))
        try:
            window.show()
            status: int = application.exec()
        finally:
            window.shut_down()
            signal.signal(signal.SIGINT, before)
            # Now, and not when Python happens to get to it: a widget that outlives the application crashes.
            shiboken6.delete(window)
    return status


@cache
def _application() -> QApplication:
    """The one there is, or a new one, which then stays until the process ends: a second one would crash."""
    there = QApplication.instance()
    return there if isinstance(there, QApplication) else QApplication(["swellmark"])


def icon() -> QIcon:
    """The program's icon, from its own drawing."""
    pixmap = QPixmap()
    pixmap.loadFromData((resources.files("assets") / "icon.svg").read_bytes(), "SVG")
    return QIcon(pixmap)
