"""The page about the program itself."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
)

from app import __version__
from app.window.pages import Page
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.window.works import work, works
from app.words import about as words


class About(Page):
    """Version, licences, and what the program never does."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._title = QLabel(words.version_line(__version__))
        own = work("swellmark").licence or words.licence_unknown()
        self._summary = QLabel(f"{words.summary()}\n{words.own_licence(own)}")
        self._others = QLabel(words.works_title())
        self._caution = QLabel(words.works_caution())
        for label in (self._summary, self._caution):
            label.setWordWrap(True)
        self.table = QTableWidget(0, 3)
        self.table.setAccessibleName(words.works_title())
        self.table.setHorizontalHeaderLabels(list(words.works_headings()))
        self.table.verticalHeader().hide()
        self.table.setShowGrid(False)
        self.table.setWordWrap(True)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        header = self.table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeading | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.stops = (self.table,)
        for found in works():
            version = found.version or words.not_installed()
            texts = (found.name, version, found.licence or words.licence_unknown())
            row = self.table.rowCount()
            self.table.insertRow(row)
            for column, text in enumerate(texts):
                self.table.setItem(row, column, QTableWidgetItem(text))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        layout.setSpacing(GAP - UNIT)
        for label in (self._title, self._summary, self._others):
            layout.addWidget(label)
        layout.addWidget(self.table, 1)
        layout.addWidget(self._caution)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        advice, lead = theme.font(Type.ADVICE), theme.font(Type.LEAD)
        for label, font in ((self._title, advice), (self._others, lead)):
            label.setStyleSheet(f"font-size: {font.pixelSize()}px; font-weight: {font.weight().value};")
        self._caution.setStyleSheet(f"color: {theme.palette.muted};")
        self.table.setFont(theme.font(Type.BODY))
        self.table.verticalHeader().setDefaultSectionSize(round(2 * theme.font(Type.BODY).pixelSize()))
