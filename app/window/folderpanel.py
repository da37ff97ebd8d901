"""The watched folder: switched on and off, with its state and what came last."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLabel, QListWidget, QSizePolicy, QVBoxLayout, QWidget

from app.window.controls import Button
from app.window.switch import Switch
from app.window.takeports import FolderDesk
from app.window.theme import UNIT, Theme, Type
from app.words import advice
from app.words import filespage as words
from app.words import folder as folder_words

_LISTED = 50


class FolderPanel(QWidget):
    """Shows a :class:`~app.window.takeports.FolderDesk`."""

    folder_wanted = Signal()
    """Somebody wants to choose the folder to watch."""

    def __init__(self, desk: FolderDesk, theme: Theme) -> None:
        super().__init__()
        self._desk = desk
        self._shown: object = None
        self._title = QLabel(words.folder_title())
        self.state, self.counts = QLabel(), QLabel()
        for label in (self.state, self.counts):
            label.setTextFormat(Qt.TextFormat.PlainText)
            label.setWordWrap(True)
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        self.existing = Switch(words.watch_existing())
        self.button = Button(words.watch_folder(), tip=words.watch_tip())
        self.button.clicked.connect(lambda _checked: self.toggle())
        self.news = QListWidget()
        self.news.setAccessibleName(words.folder_title())
        self.news.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.news.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self.news.setMinimumHeight(12 * UNIT)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2 * UNIT)
        for widget in (self._title, self.state, self.counts, self.existing, self.button):
            layout.addWidget(widget)
        layout.addWidget(self.news, 1)
        layout.addStretch()
        self.stops = (self.existing, self.button, self.news)
        self.set_theme(theme)
        self.show_state()

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        lead = theme.font(Type.LEAD)
        self._title.setStyleSheet(f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value};")
        self.counts.setStyleSheet(f"color: {theme.palette.muted};")
        self.news.setFont(theme.font(Type.BODY))

    def toggle(self) -> None:
        """Ask for a folder, or watch no more."""
        if self._desk.view is None:
            self.folder_wanted.emit()
        else:
            self._desk.end()
            self.show_state()

    def show_state(self) -> None:
        """Show how the folder stands now."""
        view, news = self._desk.view, self._desk.news
        if (view, len(news)) == self._shown:
            return
        self._shown = (view, len(news))
        self.button.set_text(words.watch_folder() if view is None else words.stop_watching())
        self.existing.setVisible(view is None)
        if view is None:
            self.state.setText(words.not_watching())
            self.counts.setText("")
        else:
            self.state.setText(folder_words.watching(view.watching.value, str(view.folder), view.known))
            counts = words.folder_counts(view.waiting, view.logged, view.unreadable)
            if view.measuring is not None:
                percent = round(100 * view.share)
                counts = f"{words.folder_measuring(view.measuring.name, percent)}\n{counts}"
            self.counts.setText(counts)
        self.news.setVisible(bool(news))
        self.news.clear()
        for each in reversed(news[-_LISTED:]):
            if each.check is not None:
                clips = sum(len(channel.clips) for channel in each.check.channels)
                verdict = advice.verdict_name(each.check.verdict)
                self.news.addItem(words.folder_news(each.path.name, verdict, clips))
            elif each.problem is not None:
                self.news.addItem(each.problem.sentence)
