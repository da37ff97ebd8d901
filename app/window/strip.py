"""A small strip with the verdict, above other windows: beside a recording program, a score, a video call."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QCloseEvent,
    QGuiApplication,
    QKeySequence,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QShortcut,
)
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QWidget

from app.coach.judgement import Verdict
from app.window.actions import Actions
from app.window.controls import Button, announce
from app.window.glance import Glance
from app.window.guard import painting
from app.window.hull import paint_mark
from app.window.theme import GAP, TARGET, UNIT, Theme, Type, qt_palette, style_sheet
from app.words import glance as words


class Line(QWidget):
    """One look in one line."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._mark = _Mark(theme)
        self._word, self._change, self._headroom, self._clips, self._take = (QLabel() for _ in range(5))
        self.labels = (self._word, self._change, self._headroom, self._clips, self._take)
        self._glance: Glance | None = None
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(GAP)
        layout.addWidget(self._mark)
        for label in self.labels:
            label.setTextFormat(Qt.TextFormat.PlainText)
            layout.addWidget(label)
        layout.addStretch(1)
        self._clips.hide()
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._mark.theme = theme
        self._mark.setFixedSize(
            2 * theme.font(Type.LEAD).pixelSize(), theme.font(Type.LEAD).pixelSize() + UNIT
        )
        lead, body, palette = theme.font(Type.LEAD), theme.font(Type.BODY), theme.palette
        strong = f"font-size: {lead.pixelSize()}px; font-weight: 600; color: {palette.text};"
        for label in (self._word, self._change):
            label.setStyleSheet(strong)
        for label in (self._headroom, self._take):
            label.setStyleSheet(f"font-size: {body.pixelSize()}px; color: {palette.muted};")
        awash = Verdict.AWASH
        self._clips.setStyleSheet(
            f"background: {palette.verdicts[awash]}; color: {palette.on_verdicts[awash]}; font-weight: 600;"
            f" font-size: {body.pixelSize()}px; border-radius: 4px; padding: 1px {2 * UNIT}px;"
        )

    def show_glance(self, glance: Glance) -> None:
        """Show one look; nothing is touched while nothing changes."""
        if glance == self._glance:
            return
        before, self._glance = self._glance, glance
        texts = (glance.word, glance.change, glance.headroom, glance.clips, glance.take)
        for label, text in zip(self.labels, texts, strict=True):
            if label.text() != text:
                label.setText(text)
        self._clips.setVisible(bool(glance.clips))
        self._mark.show_verdict(glance.verdict)
        self.setAccessibleName(glance.spoken)
        again = before is not None and (before.verdict, before.clips) == (glance.verdict, glance.clips)
        if self.isVisible() and not again:
            announce(self, glance.spoken)


class Strip(QWidget):
    """The window of that line."""

    closed = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__(None, Qt.WindowType.Window | Qt.WindowType.WindowStaysOnTopHint)
        self.setObjectName("window")
        self.setWindowTitle(words.strip_window())
        self.line = Line(theme)
        self.seen_button = Button(words.seen_button(""))
        self.back_button = Button(words.back_button(""))
        self._shortcuts: list[QShortcut] = []
        layout = QHBoxLayout(self)
        layout.setContentsMargins(GAP, UNIT, GAP, UNIT)
        layout.setSpacing(GAP)
        layout.addWidget(self.line, 1)
        layout.addWidget(self.seen_button)
        layout.addWidget(self.back_button)
        self.seen_button.hide()
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.set_theme(theme)

    @staticmethod
    def stays_on_top() -> bool:
        """Whether this desktop lets a program ask for that."""
        return not QGuiApplication.platformName().startswith("wayland")

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self.setPalette(qt_palette(theme.palette))
        self.setStyleSheet(style_sheet(theme))
        self.line.set_theme(theme)

    def show_glance(self, glance: Glance) -> None:
        """Show one look."""
        self.line.show_glance(glance)
        self.seen_button.setVisible(bool(glance.clips))

    def show_keys(self, actions: Actions, names: tuple[str, ...]) -> None:
        """Let the keys of these actions work here, too, and show two of them."""
        self.seen_button.set_text(words.seen_button(actions.key_text("seen")))
        self.back_button.set_text(words.back_button(actions.key_text("strip")))
        for shortcut in self._shortcuts:
            shortcut.setEnabled(False)
            shortcut.deleteLater()
        self._shortcuts = []
        for action in actions:
            if action.name in names:
                for key in actions.keys(action.name):
                    shortcut = QShortcut(QKeySequence(key), self)
                    shortcut.setAutoRepeat(False)
                    shortcut.activated.connect(action.run)
                    self._shortcuts.append(shortcut)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Move the strip by any place that is no button."""
        handle = self.windowHandle()
        if event.button() is Qt.MouseButton.LeftButton and handle is not None:
            handle.startSystemMove()
        super().mousePressEvent(event)

    def sizeHint(self) -> QSize:
        """Wide enough for the longest of what it shows."""
        return QSize(max(super().sizeHint().width(), 160 * UNIT), super().sizeHint().height())

    def closeEvent(self, event: QCloseEvent) -> None:
        """Tell whoever opened it."""
        super().closeEvent(event)
        self.closed.emit()


class _Mark(QWidget):
    """The verdict as a small shape."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.theme = theme
        self._verdict: Verdict | None = None
        self.setMinimumHeight(TARGET // 2)

    def show_verdict(self, verdict: Verdict | None) -> None:
        """Paint another."""
        if verdict is not self._verdict:
            self._verdict = verdict
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint the hull's water level, or nothing."""
        if self._verdict is None:
            return
        with painting(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            rect = QRectF(QPointF(1, 1), self.rect().bottomRight().toPointF())
            paint_mark(painter, rect, self._verdict, self.theme.palette)
