"""What to do about one measured file, and where it clipped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QListWidget, QSizePolicy, QVBoxLayout, QWidget

from app.window.theme import UNIT, Theme, Type
from app.words import advice
from app.words import filespage as words
from app.words.faults import fault_sentence
from app.words.numbers import clock

if TYPE_CHECKING:
    from app.check.many import Outcome
    from app.check.measure import FileCheck

_MOST_CLIPS = 200


class FileCard(QWidget):
    """Shows one outcome."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.title, self.advice, self.reason = (_label() for _ in range(3))
        self.clips = QListWidget()
        self.clips.setAccessibleName(words.headings()[-1])
        self.clips.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.clips.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self.clips.setMinimumHeight(12 * UNIT)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2 * UNIT)
        for label in (self.title, self.advice, self.reason):
            layout.addWidget(label)
        layout.addWidget(self.clips, 1)
        layout.addStretch()
        self.set_theme(theme)
        self.show_outcome(None)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        lead = theme.font(Type.LEAD)
        self.advice.setStyleSheet(f"font-size: {lead.pixelSize()}px; font-weight: {lead.weight().value};")
        self.reason.setStyleSheet(f"color: {theme.palette.muted};")
        self.clips.setFont(theme.font(Type.BODY))

    def show_outcome(self, outcome: Outcome | None) -> None:
        """Show what became of a file."""
        check = None if outcome is None else outcome.check
        self.title.setText(words.choose_one() if outcome is None else outcome.path.name)
        self.clips.clear()
        self.clips.setVisible(check is not None)
        if check is not None:
            self._show_check(check)
            return
        self.advice.setText("" if outcome is None or outcome.error is None else outcome.error.sentence)
        self.reason.setText("")

    def _show_check(self, check: FileCheck) -> None:
        worst = check.coach.worst
        self.advice.setText(advice.advice_sentence(worst.reason, worst.gain_change_db, worst.values) + ".")
        lines = [advice.reason_sentence(worst.reason, worst.values)]
        lines += [
            fault_sentence(fault.kind, None if fault.channel is None else fault.channel + 1, fault.value)
            for fault in check.summary.faults
        ]
        self.reason.setText("\n".join(lines))
        clips = sorted(
            (clip for channel in check.channels for clip in channel.clips),
            key=lambda clip: clip.start_frame,
        )
        self.clips.setVisible(bool(clips))
        for clip in clips[:_MOST_CLIPS]:
            place = clock(clip.start_frame / check.rate_hz, 3)
            self.clips.addItem(words.clip_line(place, clip.channel + 1, clip.kind.value))
        if len(clips) > _MOST_CLIPS:
            self.clips.addItem(words.more_clips(len(clips) - _MOST_CLIPS))


def _label() -> QLabel:
    label = QLabel()
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    # However long a name without a blank is, it must not push the page apart.
    label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
    return label
