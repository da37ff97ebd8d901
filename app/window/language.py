"""The desktop's language: for our texts where the environment names none, and for Qt's own dialogs."""

from __future__ import annotations

from PySide6.QtCore import QLibraryInfo, QLocale, QTranslator
from PySide6.QtWidgets import QApplication

from app.words import language


def speak_as_the_desktop() -> None:
    """Choose the language; before the first text is made."""
    if not language.asks_for_a_language():  # on Windows and macOS the desktop knows, not the environment
        language.speak(QLocale.system().uiLanguages())


def translate_dialogs(application: QApplication) -> None:
    """Have Qt's own dialogs, such as the one that saves a file, in the language of our texts."""
    QLocale.setDefault(QLocale(language.spoken() or "en"))
    translator = QTranslator(application)
    folder = QLibraryInfo.path(QLibraryInfo.LibraryPath.TranslationsPath)
    if translator.load(QLocale(), "qtbase", "_", folder):
        application.installTranslator(translator)
