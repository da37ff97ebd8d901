"""The verdict from across the room: its picture, its word, the change, the headroom, and clips until seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QStyle, QVBoxLayout, QWidget

from app.coach.judgement import Verdict
from app.window.controls import Button, announce
from app.window.fit import LEAST_PIXELS, fitting_pixels
from app.window.glance import UNSETTLED, Glance
from app.window.guard import painting
from app.window.hull import paint_scene
from app.window.legible import cap_height_mm, cap_height_px, distance_m, pixels_per_mm
from app.window.theme import GAP, MARGIN, RADIUS, UNIT, Theme, Type
from app.words import advice
from app.words import card as card_words
from app.words import glance as words
from app.words import window as window_words

AIM_M = 3.0
"""The distance at which everything should be legible."""
_PICTURE_SHARES = (0.44, 0.34, 0.26)
"""How much of the longer side the picture takes: less where the letters would become too small."""
_LARGEST = 400


@dataclass(frozen=True, slots=True)
class Places:
    """Where things are painted."""

    picture: QRectF
    lines: tuple[QRectF, QRectF, QRectF]
    """Word, change and headroom."""
    clips: QRectF
    """Empty when there is nothing to show there."""


def places(size: QSize, share: float, *, clips: bool) -> Places:
    """Share out the room: the picture at the left or, in a high window, above; clips in a band below."""
    width, height = float(size.width()), float(size.height())
    band = 0.24 * height if clips else 0.0
    above = height - band - (GAP if clips else 0)
    if width >= 1.2 * height:
        picture = QRectF(0, 0, share * width, above)
        lines = QRectF(picture.width() + MARGIN, 0, width - picture.width() - 2 * MARGIN, above)
    else:
        picture = QRectF(0, 0, width, share * above)
        lines = QRectF(MARGIN, picture.height() + GAP, width - 2 * MARGIN, above - picture.height() - GAP)
    third = lines.height() / 3
    rows = [QRectF(lines.left(), lines.top() + n * third, lines.width(), third) for n in range(3)]
    return Places(picture, (rows[0], rows[1], rows[2]), QRectF(0, height - band, width, band))


@cache
def _all_texts() -> tuple[Sequence[str], ...]:
    """The widest that may stand in each line."""
    names = [advice.verdict_name(verdict.value) for verdict in Verdict]
    changes = [words.change(change_db) for change_db in (-88, 88, 0)]
    return (
        (*names, card_words.no_verdict(), card_words.old_reading()),
        (*changes, *(words.change(0, waits_for=reason.value) for reason in UNSETTLED)),
        (words.headroom(88.8), words.headroom(-8.8)),
        (words.unseen_clips(888),),
    )


def fitting_all(texts: Sequence[str], font: QFont, room: QSize) -> int:
    """The pixel size at which each of these texts fits into a line of this room."""
    metrics = QFontMetricsF(font)
    widest = max(metrics.horizontalAdvance(text) for text in texts)
    share = min(room.width() / widest, room.height() / metrics.height(), 1.0)
    trial = QFont(font)  # letters grow nearly in proportion; the rest is tried out
    trial.setPixelSize(max(LEAST_PIXELS, round(share * font.pixelSize()) + 1))
    return min(fitting_pixels(text, trial, room, wrap=False) for text in texts)


class Afar(QWidget):
    """Takes the place of everything else."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.board = _Board(theme)
        self.seen_button = Button(words.seen_button(""))
        self.back_button = Button(words.back_button(""))
        self.take_button = Button(window_words.begin_take(""))
        self.stops = (self.take_button, self.seen_button, self.back_button)
        """What the keyboard reaches, in order."""
        self._note = QLabel()
        self._note.setProperty("small", True)
        self._note.setWordWrap(True)
        self._spoken: tuple[Verdict | None, bool] | None = None
        row = QHBoxLayout()
        row.setSpacing(GAP)
        row.addWidget(self.take_button)
        row.addWidget(self._note, 1)
        row.addWidget(self.seen_button)
        row.addWidget(self.back_button)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(MARGIN, MARGIN, MARGIN, GAP)
        layout.setSpacing(GAP)
        layout.addWidget(self.board, 1)
        layout.addLayout(row)
        self.seen_button.hide()

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self.board.set_theme(theme)

    @property
    def note(self) -> str:
        """From how far it can be read."""
        return self._note.text()

    def show_glance(self, glance: Glance) -> None:
        """Show one look; nothing is touched while nothing changes."""
        self.board.show_glance(glance)
        self.seen_button.setVisible(bool(glance.clips))
        far_m = self.board.legible_m
        note = words.size_unknown() if far_m is None else words.legible_from(far_m)
        if note != self._note.text():
            self._note.setText(note)
        now = (glance.verdict, bool(glance.clips))
        if now != self._spoken:
            self._spoken = now
            if self.isVisible():
                announce(self.board, glance.spoken)


class _Board(QWidget):
    """What is read."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._glance: Glance | None = None
        self.legible_m: float | None = None
        """From how far the smallest of the letters can be read; None when the screen's size is not known."""
        self._pixels = (LEAST_PIXELS,) * 4
        self._share = _PICTURE_SHARES[0]
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(card_words.card_name())
        self.setMinimumSize(320, 240)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        self._share_out()

    def show_glance(self, glance: Glance) -> None:
        """Paint one look, when it is another."""
        if glance == self._glance:
            return
        before, self._glance = self._glance, glance
        self.setAccessibleDescription(glance.spoken)
        if before is None or bool(before.clips) != bool(glance.clips):
            self._share_out()
        self.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """As large as they fit."""
        super().resizeEvent(event)
        self._share_out()

    @property
    def cap_px(self) -> float:
        """How high the smallest capitals are."""
        return min(cap_height_px(self._font(pixels)) for pixels in self._pixels)

    def _share_out(self) -> None:
        density = pixels_per_mm(self.screen())
        wanted_px = cap_height_mm(AIM_M) * density if density is not None else 0.0
        for share in _PICTURE_SHARES:
            self._share = share
            self._pixels = self._fit()
            if self.cap_px >= wanted_px:
                break
        self.legible_m = distance_m(self.cap_px / density) if density is not None else None
        self.update()

    def _fit(self) -> tuple[int, int, int, int]:
        """Sizes at which whatever may come fits, so that letters keep theirs while words change."""
        where = places(self.size(), self._share, clips=True)
        font = self._font(_LARGEST)
        sizes = [
            fitting_all(texts, font, rect.size().toSize() - QSize(2 * UNIT, UNIT))
            for texts, rect in zip(_all_texts(), (*where.lines, where.clips), strict=True)
        ]
        return sizes[0], sizes[1], sizes[2], sizes[3]

    def _font(self, pixels: int) -> QFont:
        font = QFont(self._theme.font(Type.VERDICT))
        font.setPixelSize(pixels)
        return font

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002 - Qt's signature
        """Paint the picture and the lines."""
        if self._glance is None:
            return
        with painting(self) as painter:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._paint(painter, self._glance)

    def _paint(self, painter: QPainter, glance: Glance) -> None:
        palette = self._theme.palette
        where = places(self.size(), self._share, clips=bool(glance.clips))
        painter.save()
        frame = QPainterPath()
        frame.addRoundedRect(where.picture, 2 * RADIUS, 2 * RADIUS)
        painter.setClipPath(frame)
        paint_scene(painter, where.picture, glance.verdict, palette)
        painter.restore()
        painter.setPen(QColor(palette.text))
        side = QStyle.visualAlignment(self.layoutDirection(), Qt.AlignmentFlag.AlignLeading)
        flags = side | Qt.AlignmentFlag.AlignVCenter
        for text, rect, pixels in zip(
            (glance.word, glance.change, glance.headroom), where.lines, self._pixels[:3], strict=True
        ):
            painter.setFont(self._font(pixels))
            painter.drawText(rect, int(flags), text)
        if glance.clips:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(palette.verdicts[Verdict.AWASH]))
            painter.drawRoundedRect(where.clips, 2 * RADIUS, 2 * RADIUS)
            painter.setPen(QColor(palette.on_verdicts[Verdict.AWASH]))
            painter.setFont(self._font(self._pixels[3]))
            painter.drawText(where.clips, int(Qt.AlignmentFlag.AlignCenter), glance.clips)
