"""The page about the headphone balance: files in, advice out, and what to do with it."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import QSignalBlocker, Qt, QTimer
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QSlider,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.engine.snapshot import Snapshot
from app.errors import SwellmarkError
from app.inputs.outputs import OutputInfo
from app.inputs.playback import Turned
from app.window.actions import EVERYWHERE, Action
from app.window.balancechart import TidePicture
from app.window.balancecurves import curves
from app.window.balancedesk import MOST_MORE_ME_DB, BalanceDesk
from app.window.balancefiles import BackingFiles
from app.window.balancepitch import PitchPicture
from app.window.balanceplaying import PlayingAlong
from app.window.controls import Button, Choice, announce
from app.window.emptyplace import EmptyPlace
from app.window.pages import Page, PageTools
from app.window.theme import GAP, MARGIN, UNIT, Theme, Type
from app.words import balance as balance_words
from app.words import hearing as words
from app.words import playback as playback_words

NAME = "balance"
_PLAY, _HUSH = "play_along", "hush"
_LOOK_MS = 100
_LOW_PX = 500
_OUTPUT_SETTING = "output"
_SOUND_ENDINGS = ("wav", "flac", "aiff", "aif", "ogg", "opus", "mp3", "w64", "caf", "au")


class BalancePage(Page):
    """Left what is heard, right what to do about it, as everywhere in the window."""

    def __init__(self, tools: PageTools) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._tools = tools
        self._services = tools.services.balance
        self.desk = BalanceDesk(self._services, tools.errands, self._show)
        self.playing = PlayingAlong(self._services, tools.errands, tools.tell)
        self._theme = tools.theme
        self._channel = 0
        self._input_ms: float | None = None
        self._asked_outputs = False
        self._told_bleed = False
        self._said = ""
        self._shown: object = None
        self._make()
        self._arrange()
        self.stops = (self._advised, *self.stops, self._heard)
        self._timer = QTimer(self)
        self._timer.setInterval(_LOOK_MS)
        self._timer.timeout.connect(self._look_at_playing)
        tools.actions.add(
            Action(_PLAY, words.play_action(), self.toggle_playing, ("A",), NAME),
            Action(_HUSH, words.hush_action(), self.hush, ("X",), EVERYWHERE),
        )
        tools.actions.changed.connect(self._show)
        self._services.headphones.output_name = tools.services.settings.get(_OUTPUT_SETTING) or ""
        self.set_theme(tools.theme)
        self._show()

    # Putting together

    def _make(self) -> None:
        theme = self._theme
        self.files = BackingFiles(theme)
        self.files.removed.connect(self.desk.remove)
        self.picture = TidePicture(theme)
        self.pitch = PitchPicture(theme)
        self.choose_button = Button(words.choose_backing())
        self.choose_button.clicked.connect(partial(self.choose_files, stems=False))
        self.add_button = Button(words.add_stems())
        self.add_button.clicked.connect(partial(self.choose_files, stems=True))
        self.cancel_button = Button(words.cancel())
        self.cancel_button.clicked.connect(self.desk.cancel)
        self.advice, self.reason, self.care, self.state = (_text() for _ in range(4))
        self.part = Choice(6)
        self.part.setAccessibleName(words.part_label())
        self.part.activated.connect(self._choose_part)
        self.part_state = _text()
        self.anew_button = Button(words.part_anew())
        self.anew_button.clicked.connect(self.desk.forget_part)
        self.more_me = QSlider(Qt.Orientation.Horizontal)
        self.more_me.setRange(0, MOST_MORE_ME_DB)
        self.more_me.setPageStep(3)
        self.more_me.setAccessibleName(words.more_me())
        self.more_me.valueChanged.connect(self.desk.set_more_me)
        self.more_me_value = QLabel()
        self.output = Choice(6)
        self.output.setAccessibleName(words.output_label())
        self.output.addItem(playback_words.system_output(), "")
        self.output.activated.connect(self._choose_output)
        self.play_button = Button("", tip=words.play_along_tip())
        self.play_button.clicked.connect(self.toggle_playing)
        self.play_state = _text()
        self.save_button = Button(words.save_copies(), tip=words.save_copies_tip())
        self.save_button.clicked.connect(self.choose_folder)
        self.stops = (
            self.choose_button,
            self.add_button,
            self.cancel_button,
            self.part,
            self.anew_button,
            self.more_me,
            self.output,
            self.play_button,
            self.save_button,
        )

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave the picture some room in a low window."""
        super().resizeEvent(event)
        self.files.be_low(self.height() < _LOW_PX)

    def _arrange(self) -> None:
        heard = QWidget()
        left = QVBoxLayout(heard)
        left.setContentsMargins(0, 0, UNIT, 0)
        left.setSpacing(UNIT)
        self._pitch_title = _text()
        self._pitch_title.setText(words.pitch_title())
        self._pitch_title.setProperty("quiet", True)
        left.addWidget(self.files)
        left.addWidget(self.picture, 5)
        left.addWidget(self._pitch_title)
        left.addWidget(self.pitch, 2)
        self._heard = _scrolling(heard, words.picture_name())
        self._hint = EmptyPlace(words.drop_hint(), self._theme)
        self._hear = QStackedWidget()
        self._hear.addWidget(self._hint)
        self._hear.addWidget(self._heard)
        head = QHBoxLayout()
        head.setSpacing(GAP)
        head.addWidget(self.choose_button)
        head.addWidget(self.add_button)
        head.addWidget(self.state, 1)
        head.addWidget(self.cancel_button)
        grid = QGridLayout(self)
        grid.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        grid.setHorizontalSpacing(MARGIN)
        grid.setVerticalSpacing(GAP - UNIT)
        grid.addLayout(head, 0, 0)
        grid.addWidget(self._hear, 1, 0)
        grid.addWidget(self._do(), 0, 1, 2, 1)
        grid.setRowStretch(1, 1)
        self._grid = grid

    def _do(self) -> QScrollArea:
        """What to do: it scrolls where texts are large or the window is low."""
        inner = QWidget()
        right = QVBoxLayout(inner)
        right.setContentsMargins(GAP, GAP, GAP, GAP)
        right.setSpacing(GAP - UNIT)
        right.addWidget(self.advice)
        right.addWidget(self.reason)
        self._pairs = [
            _side_by_side((_label(words.more_me(), self.more_me), self.more_me, self.more_me_value), 1),
            _side_by_side((_label(words.part_label(), self.part), self.part), 1),
            _side_by_side((self.part_state, self.anew_button), 0),
            _side_by_side((_label(words.output_label(), self.output), self.output), 1),
        ]
        for pair in self._pairs:
            right.addLayout(pair)
        right.addWidget(self.play_button)
        right.addWidget(self.play_state)
        right.addWidget(self.save_button)
        right.addWidget(self.care)
        right.addStretch(1)
        self._advised = _scrolling(inner, words.what_to_do())
        return self._advised

    # The page

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        self._theme = theme
        for part in (self.files, self.picture, self.pitch, self._hint):
            part.set_theme(theme)
        advice, small = theme.font(Type.ADVICE), theme.font(Type.SMALL)
        self.advice.setStyleSheet(f"font-size: {advice.pixelSize()}px; font-weight: {advice.weight().value};")
        for label in (self.care, self.part_state, self.play_state):
            label.setStyleSheet(f"font-size: {small.pixelSize()}px; color: {theme.palette.muted};")
        self.play_state.setStyleSheet(f"font-size: {small.pixelSize()}px; color: {theme.palette.text};")
        large = theme.has_large_texts
        direction = QBoxLayout.Direction
        for pair in self._pairs:
            pair.setDirection(direction.TopToBottom if large else direction.LeftToRight)
        self._grid.setColumnStretch(0, 50 if large else 64)
        self._grid.setColumnStretch(1, 50 if large else 36)
        c = theme.palette
        for area in (self._heard, self._advised):
            area.setStyleSheet(
                f"QScrollArea {{ background: {c.panel}; border: 2px solid {c.panel}; }}"
                f"QScrollArea:focus {{ border-color: {c.focus}; }}"
                f"QWidget#scrolled {{ background: {c.panel}; }}"
            )

    @property
    def first_focus(self) -> QWidget | None:
        """What has the focus when the page opens: before there is advice, what leads to it."""
        return self._advised if self.desk.backing else self.choose_button

    def enter(self) -> None:
        """Hear the part from now on, and ask once which outputs there are."""
        self.desk.listen(self._channel)
        self._told_bleed = False
        if not self._asked_outputs:
            self._asked_outputs = True
            self._tools.errands.run(
                "outputs", self._services.list_outputs, self._show_outputs, self._no_outputs
            )
        self._show()

    def leave(self) -> None:
        """Hear no more; a backing that plays goes on."""
        self.desk.stop_listening()

    def take_paths(self, paths: Sequence[Path]) -> None:
        """Dropped files are the backing."""
        self.desk.set_backing(paths)

    def step_back(self) -> bool:
        """Esc stops what plays before it closes the page."""
        if self.playing.running:
            self.hush()
            return True
        return False

    def shut_down(self) -> None:
        """Fall silent and leave everything."""
        self._timer.stop()
        self.playing.shut_down()
        self.desk.shut_down()

    def show_state(self, snapshot: Snapshot, now_s: float, channel: int) -> None:
        """Take in what was played, and how far the measuring is."""
        if channel != self._channel:
            self._channel = channel
            self.desk.listen(channel)
        latency_s = snapshot.info.latency_s if snapshot.info is not None else None
        self._input_ms = None if latency_s is None else 1000.0 * latency_s
        floors = snapshot.noise_floor_dbfs
        self.desk.look(floors[channel] if channel < len(floors) else math.nan, now_s)
        self._show_progress()

    # What the user does

    def choose_files(self, *, stems: bool = False) -> None:
        """Choose the backing, or further stems, in a dialogue."""
        dialog = self._dialog(words.choose_backing())
        dialog.setFileMode(QFileDialog.FileMode.ExistingFiles)
        take = self.desk.add_backing if stems else self.desk.set_backing
        dialog.filesSelected.connect(lambda names: take([Path(name) for name in names]))
        dialog.open()

    def choose_folder(self) -> None:
        """Choose where to save turned-down copies."""
        dialog = QFileDialog(self, words.copies_folder())
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        if self.desk.files:
            dialog.setDirectory(str(self.desk.files[0].path.parent))
        dialog.fileSelected.connect(lambda name: self.save_copies(Path(name)))
        dialog.open()

    def save_copies(self, folder: Path) -> None:
        """Write turned-down copies into a folder."""
        self.desk.write(folder, self._saved, self._tools.tell)

    def toggle_playing(self) -> None:
        """Play the backing as far down as advised, or stop it."""
        if self.playing.running:
            self.hush()
            return
        files = [
            Turned(file.path, amount)
            for file, amount in zip(self.desk.files, self.desk.pull_down_db, strict=False)
        ]
        self._told_bleed = False
        self.playing.start(files, self._channel)
        self._timer.start()
        self._show_playing()

    def hush(self) -> None:
        """Be silent at once."""
        self.playing.stop()
        self._show_playing()

    def _choose_part(self, place: int) -> None:
        if self.part.itemData(place) == "live":
            self.desk.set_part_file(None)
        elif self.part.itemData(place) == "choose":
            dialog = self._dialog(words.part_from_file())
            dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
            dialog.fileSelected.connect(lambda name: self.desk.set_part_file(Path(name)))
            dialog.finished.connect(lambda _result: self._show_part())
            dialog.open()

    def _choose_output(self, place: int) -> None:
        name = self.output.itemData(place)
        self._tools.services.settings.put(_OUTPUT_SETTING, name)
        self._services.headphones.output_name = name
        self.hush()

    def _dialog(self, title: str) -> QFileDialog:
        dialog = QFileDialog(self, title)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        endings = " ".join(f"*.{ending}" for ending in _SOUND_ENDINGS)
        dialog.setNameFilters([f"{words.sound_files()} ({endings})", f"{words.all_files()} (*)"])
        return dialog

    # What is shown

    def _show(self) -> None:
        """Show what the desk knows."""
        desk = self.desk
        self._hear.setCurrentIndex(1 if desk.backing else 0)
        self.add_button.setVisible(bool(desk.backing))
        self.files.show_entries(desk.backing, desk.balance)
        self._show_part()
        self._show_progress()
        balance, tracks = desk.balance, [file.track for file in desk.files]
        shown = (balance, desk.part)
        if shown != self._shown:
            self._shown = shown
            if balance is None or len(balance.files) != len(tracks):
                self.picture.show_curves(None, "")
                self.pitch.show_ranges(())
            else:
                amounts = {file.pull_down_db for file in balance.files}
                then = words.then_label(amounts.pop()) if len(amounts) == 1 else words.then_stems_label()
                self.picture.show_curves(curves(desk.part, tracks, balance), then)
                self.pitch.show_ranges(balance.ranges)
        self.pitch.setVisible(balance is not None and bool(balance.ranges))
        self._pitch_title.setVisible(self.pitch.isVisibleTo(self))
        self._show_advice()
        with QSignalBlocker(self.more_me):
            self.more_me.setValue(desk.more_me_db)
        self.more_me_value.setText(words.more_me_value(desk.more_me_db))
        self.save_button.setEnabled(bool(desk.pull_down_db) and desk.writing is None)
        self._keep_playing_right()
        self._show_playing()

    def _keep_playing_right(self) -> None:
        """What plays follows the advice, and ends when the backing is another."""
        playback = self.playing.playback
        if playback is None or self.desk.measuring is not None:
            return
        if [file.path for file in playback.files] != [file.path for file in self.desk.files]:
            self.playing.stop()
        elif self.desk.pull_down_db:
            self.playing.follow(self.desk.pull_down_db)

    def _show_advice(self) -> None:
        balance = self.desk.balance
        if balance is None:
            self.advice.setText("")
            self.reason.setText("")
        else:
            amounts = tuple(file.pull_down_db for file in balance.files)
            advice = balance_words.advice_sentence(amounts)
            reasons = [balance_words.reason_sentence(balance.reason, balance.values)]
            if balance.before is None and not any(amounts):
                advice, reasons = reasons[0], []
            if balance.deep_hz is not None:
                reasons.append(balance_words.deep_note(*balance.deep_hz))
            if self.desk.more_me_db and any(amounts):
                reasons.append(balance_words.more_me_sentence(self.desk.more_me_db))
            if len(amounts) > 1 and any(amounts):
                reasons.append(balance_words.equal_sentence(balance.equal_pull_down_db, len(amounts)))
            self.advice.setText(advice)
            self.reason.setText(" ".join(reasons))
            if advice != self._said:
                self._said = advice
                announce(self, advice)
        self.advice.setVisible(bool(self.advice.text()))
        self.reason.setVisible(bool(self.reason.text()))
        care = balance_words.care_sentences(balance is not None and balance.needs_action)
        numbered = [f"{number}. {text}" for number, text in enumerate(care, 1)] if len(care) > 1 else care
        self.care.setText("\n".join(numbered))

    def _show_part(self) -> None:
        desk = self.desk
        with QSignalBlocker(self.part):
            self.part.clear()
            self.part.addItem(words.part_live(), "live")
            if desk.part_file is not None:
                self.part.addItem(words.part_file(desk.part_file.path.name), "file")
            self.part.addItem(words.part_from_file(), "choose")
            self.part.setCurrentIndex(0 if desk.part_file is None else 1)
        self.anew_button.setVisible(desk.part_file is None)
        if desk.part_file is not None:
            self.part_state.setText(desk.part_file.problem)
        elif desk.played is None or not desk.played.enough:
            self.part_state.setText(words.part_waiting())
        else:
            played = desk.played
            self.part_state.setText(words.part_heard(played.playing_s, played.track.short_term_p50_lufs))
        self.part_state.setVisible(bool(self.part_state.text()))

    def _show_progress(self) -> None:
        desk = self.desk
        share = desk.measuring
        if share is not None:
            self.state.setText(words.measuring(share))
        elif desk.writing is not None:
            self.state.setText(words.writing(desk.writing))
        else:
            self.state.setText("")
        self.cancel_button.setVisible(share is not None or desk.writing is not None)
        if share is not None:
            self.files.show_entries(desk.backing, desk.balance)

    def _show_playing(self) -> None:
        playing = self.playing
        key = self._tools.actions.key_text
        self.play_button.set_text(
            words.stop_playing(key(_HUSH)) if playing.running else words.play_along(key(_PLAY))
        )
        self.play_button.setEnabled(playing.running or bool(self.desk.pull_down_db))
        playback = playing.playback
        if playback is None:
            self.picture.show_position(None)
            self.play_state.setText(words.headphones_first())
            return
        duration_s = max((file.track.duration_s for file in self.desk.files), default=0.0)
        self.picture.show_position(playback.position_s)
        lines = [words.playing_at(playback.position_s, duration_s)]
        bleed = playing.bleed
        if bleed is not None and bleed.bleed is not None:
            lines.append(words.bleed_found(bleed.bleed.under_input_db))
        elif bleed is not None:
            lines.append(words.bleed_none() if bleed.knows else words.bleed_unknown())
        if playback.underruns:
            lines.append(words.gaps(playback.underruns))
        lines.append(playback_words.round_trip(self._input_ms, 1000.0 * playback.output.latency_s))
        self.play_state.setText("\n".join(lines))

    def _look_at_playing(self) -> None:
        self.playing.look(time.monotonic())
        if not self.playing.running:
            self._timer.stop()
        bleed = self.playing.bleed
        if bleed is not None and bleed.bleed is not None and not self._told_bleed and not self.isVisible():
            self._told_bleed = True
            self._tools.tell(SwellmarkError(words.bleed_found(bleed.bleed.under_input_db)))
        self._show_playing()

    def _show_outputs(self, outputs: Sequence[OutputInfo]) -> None:
        wanted = self._services.headphones.output_name
        with QSignalBlocker(self.output):
            self.output.clear()
            self.output.addItem(playback_words.system_output(), "")
            for output in outputs:
                label = playback_words.output_choice(
                    output.name, output.host_api, is_default=output.is_default
                )
                self.output.addItem(label, output.full_name)
            place = self.output.findData(wanted)
            if place < 0:  # it is away: whoever presses the button is told so
                self.output.addItem(wanted.partition("/")[2], wanted)
                place = self.output.count() - 1
            self.output.setCurrentIndex(place)

    def _no_outputs(self, error: Exception) -> None:
        self._asked_outputs = False
        self._tools.tell(error)

    def _saved(self, paths: Sequence[Path]) -> None:
        text = words.saved([str(path) for path in paths])
        self.state.setText(text)
        announce(self, text)


def _side_by_side(widgets: Sequence[QWidget], widest: int) -> QBoxLayout:
    layout = QBoxLayout(QBoxLayout.Direction.LeftToRight)
    for number, widget in enumerate(widgets):
        layout.addWidget(widget, int(number == widest))
    return layout


def _scrolling(inner: QWidget, name: str) -> QScrollArea:
    """Scrolls where texts are large or the window is low, with the arrow keys too."""
    inner.setObjectName("scrolled")
    area = QScrollArea()
    area.setAccessibleName(name)
    area.setWidget(inner)
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setFocusPolicy(Qt.FocusPolicy.TabFocus)
    return area


def _text() -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    return label


def _label(text: str, buddy: QWidget) -> QLabel:
    label = QLabel(text)
    label.setBuddy(buddy)
    return label
