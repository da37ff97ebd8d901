"""The four live figures. Digits keep their places: fixed fields, figures of one width, a true minus."""

from __future__ import annotations

import math
from functools import partial

from PySide6.QtCore import QEvent, QSize, Qt, Signal
from PySide6.QtGui import QFont, QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from app.coach.judgement import Verdict
from app.engine.snapshot import Snapshot
from app.window.controls import Button
from app.window.fit import fitting_pixels
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import figures as words
from app.words import glossary, numbers

_WIDEST = numbers.decibels(-88.8)


class Figures(QWidget):
    """Average, peak hold with the count of clips, headroom and noise floor of one channel.

    Each explains its word when it is pressed.
    """

    asked = Signal(str)
    """A word, by its key in :mod:`app.words.glossary`."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._average = _Figure("average", words.average_label(), "dBFS", 1)
        self._hold = _Figure("peak_hold", words.hold_label(), "dBFS", 1)
        self._headroom = _Figure("headroom", words.headroom_label(), "dB", 1, widest_db=88.8)
        self._floor = _Figure("noise_floor", words.floor_label(), "dBFS", 0, widest_db=-88)
        self._all = (self._average, self._hold, self._headroom, self._floor)
        self._theme = theme
        self.stops = self._all
        """What the keyboard reaches, in order."""
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(GAP)
        for figure in self._all:
            layout.addWidget(figure, 1)
            figure.clicked.connect(partial(self.asked.emit, figure.term))
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        for figure in self._all:
            figure.set_theme(theme)
        self._share_out()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Four tiles of one width, with digits of one size."""
        super().resizeEvent(event)
        self._share_out()

    def _share_out(self) -> None:
        width = (self.width() - 3 * GAP) // 4
        room = QSize(max(1, width - MARGIN - GAP), 1000)
        body = self._theme.font(Type.BODY)
        label = min(fitting_pixels(figure.label, body, room, wrap=False) for figure in self._all)
        for figure in self._all:
            figure.set_size(width, label)

    def show_state(self, snapshot: Snapshot, channel: int, *, old: bool) -> None:
        """Show the figures of a channel; none while they are old."""
        there = not old and channel < len(snapshot.peak_hold_dbfs)
        average = (
            snapshot.average_dbfs[channel] if there and channel < len(snapshot.average_dbfs) else math.nan
        )
        hold = snapshot.peak_hold_dbfs[channel] if there else math.nan
        headroom = snapshot.headroom_db[channel] if there else math.nan
        floor = snapshot.noise_floor_dbfs[channel] if there else math.nan
        self._average.show_level(average)
        self._hold.show_level(hold)
        self._headroom.show_level(headroom)
        self._floor.show_level(floor)
        clips = snapshot.clips[channel] if there and channel < len(snapshot.clips) else 0
        self._hold.show_note(words.clip_count(clips) if clips else "")


class _Figure(Button):
    """One figure: what it is, its value in a field of fixed width, its unit."""

    def __init__(self, term: str, label: str, unit: str, digits: int, *, widest_db: float = -88.8) -> None:
        super().__init__("", tip=glossary.explain_tip(label))
        self.term = term
        self.setProperty("tile", True)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._name, self._unit_name, self._digits = label, unit, digits
        self._theme = Theme()
        self._tile_width = 0
        self._widest = numbers.decibels(widest_db, digits)
        self._label, self._value, self._unit, self._note = QLabel(label), QLabel(), QLabel(unit), QLabel()
        self._label.setProperty("quiet", True)
        self._unit.setProperty("small", True)
        self._value.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignBottom)
        self._unit.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignBottom)
        self._note.hide()
        head, body = QHBoxLayout(), QHBoxLayout()
        head.addWidget(self._label)
        head.addStretch(1)
        head.addWidget(self._note)
        body.setSpacing(UNIT + 2)
        body.addWidget(self._value)
        body.addWidget(self._unit)
        body.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, GAP - UNIT, GAP - UNIT, GAP - UNIT)
        layout.setSpacing(0)
        layout.addLayout(head)
        layout.addLayout(body)
        self.show_level(math.nan)

    def sizeHint(self) -> QSize:
        """As large as what it holds, which a button does not look at."""
        layout = self.layout()
        return layout.sizeHint() if layout is not None else super().sizeHint()

    def minimumSizeHint(self) -> QSize:
        """As high as what it holds; as narrow as need be."""
        return QSize(0, self.sizeHint().height())

    def set_theme(self, theme: Theme) -> None:
        """Set the type, and with it the width of the field."""
        self._theme = theme
        small = theme.font(Type.SMALL)
        palette = theme.palette
        awash = Verdict.AWASH
        self._note.setStyleSheet(
            f"background: {palette.verdicts[awash]}; color: {palette.on_verdicts[awash]}; font-weight: 600;"
            f"font-size: {small.pixelSize()}px; border-radius: 4px; padding: 1px 6px;"
        )

    @property
    def label(self) -> str:
        """What the figure is."""
        return self._name

    def set_size(self, tile_width: int, label_pixels: int) -> None:
        """Let the value shrink where the tile is narrow, the same for every value that may come."""
        self._tile_width = tile_width
        self._label.setStyleSheet(f"font-size: {label_pixels}px; color: {self._theme.palette.muted};")
        font, small = QFont(self._theme.font(Type.FIGURE)), QFont(self._theme.font(Type.SMALL))
        # The number is what matters: it grows with the text scale before its unit does.
        small.setPixelSize(min(small.pixelSize(), round(0.08 * tile_width)))
        room = tile_width - MARGIN - 2 * GAP - QFontMetrics(small).horizontalAdvance("dBFS")
        font.setPixelSize(fitting_pixels(_WIDEST, font, QSize(max(1, room), 1000), wrap=False))
        metrics = QFontMetrics(font)
        self._value.setFont(font)
        style = f"font-size: {font.pixelSize()}px; font-weight: 600; color: {self._theme.palette.text};"
        if self._value.styleSheet() != style:
            self._value.setStyleSheet(style)
        self._value.setFixedWidth(metrics.horizontalAdvance(self._widest) + 2)
        # The unit stands on the value's base line.
        drop = max(0, metrics.descent() - QFontMetrics(small).descent())
        self._unit.setStyleSheet(f"font-size: {small.pixelSize()}px; padding-bottom: {drop}px;")
        self._make_room()

    def show_level(self, level_db: float) -> None:
        """Show a value; a dash while it is not known."""
        # Three digits leave no room for a fourth; so far down nobody misses it.
        text = numbers.decibels(level_db, self._digits if not level_db < -99.9 else 0)
        if text == self._value.text():
            return
        self._value.setText(text)
        self.setAccessibleName(words.figure_spoken(self._name, text, self._unit_name))

    def show_note(self, note: str) -> None:
        """Show a mark beside the label, or none."""
        if note != self._note.text() or self._note.isHidden() == bool(note):
            self._note.setText(note)
            self._note.setVisible(bool(note))
            self._make_room()

    def _make_room(self) -> None:
        """Clips before the label, where there is no room for both."""
        need = self._label.sizeHint().width() + self._note.sizeHint().width() + MARGIN + GAP
        self._label.setVisible(self._note.isHidden() or need <= self._tile_width)
        self._keep_height()

    def event(self, event: QEvent) -> bool:
        """Follow the letters, which a figure that was hidden takes when it is shown."""
        done = super().event(event)
        if event.type() is QEvent.Type.LayoutRequest:
            self._keep_height()
        return done

    def _keep_height(self) -> None:
        # The style sheet has set a least height, that of a button, which goes before the layout's.
        self.setMinimumHeight(self.sizeHint().height())
