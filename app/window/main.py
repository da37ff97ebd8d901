"""The window: puts the parts together and carries between them what the program knows.

Threads: everything here runs on the window's own thread. A timer at the screen's rate reads the engine's
newest snapshot; nothing is waited for, except, within limits, when the window closes.
"""

from __future__ import annotations

import signal
import time
from functools import cache
from importlib import resources
from pathlib import Path

import shiboken6
from PySide6.QtCore import QByteArray, QEvent, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QHideEvent, QIcon, QKeySequence, QPixmap, QShortcut, QShowEvent
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
)

from app.coach.judgement import Judgement
from app.engine.snapshot import Snapshot
from app.errors import SwellmarkError
from app.window.banner import Message
from app.window.board import Board
from app.window.crash import CrashReports, crash_message
from app.window.errands import Errands
from app.window.farewell import say_farewell
from app.window.guidance import Guidance
from app.window.harbour import channel_label
from app.window.logbook import Logbook
from app.window.messages import is_live, messages_for
from app.window.services import HasGain, InputChoice, Services
from app.window.theme import PALETTES, Theme
from app.words import window as words

_SLOW_MS = 250
"""How often the window looks while it is not seen."""
_TEXT_S = 0.1
"""Digits that change faster than this cannot be read."""
_LEAST_TEXT_PERCENT, _MOST_TEXT_PERCENT = 80, 200
_SETTLE_S = 1.5
"""How long another channel must be the worst before the chart turns to it by itself."""


class MainWindow(Board):
    """The board with what moves it.

    Parameters
    ----------
    services
        The rest of the program.
    crashes
        Where exceptions that nobody caught are put aside.
    """

    def __init__(self, services: Services, crashes: CrashReports | None = None) -> None:
        super().__init__(services.parts, services.gain_range_db, services.target)
        self._services = services
        self.crashes = crashes
        self._errands = Errands()
        self._source: object | None = None
        self._part = self._spec = ""
        self._inputs: tuple[InputChoice, ...] = ()
        self._told: list[Message] = []
        self._waved: set[str] = set()
        self._noticed: set[str] = set()
        self.messages: list[Message] = []
        """What the banner has to say now, the most important first."""
        self._hint = ""
        self._chosen_channel = -1
        self.channel = 0
        """The column that chart, card and figures show."""
        self._worst_since: tuple[int, float] = (0, 0.0)
        self._history: object | None = None
        self._texts_s = 0.0
        self._drawn_s = 0.0
        self._tick_s = 1 / 60
        self._closed = False
        self.guidance = Guidance(services, self.guide, self.show_guide)
        self.logbook = Logbook(services.list_takes, services.read_take, self._errands)
        self._wire()
        self._restore()

    # Putting together

    def _wire(self) -> None:
        self.picker.input_chosen.connect(self.open_input)
        self.picker.look_again.connect(self.list_inputs)
        self.picker.part_chosen.connect(self.choose_part)
        self.picker.gain_turned.connect(self._turn_gain)
        self.afresh.clicked.connect(self.start_afresh)
        self.look.clicked.connect(self.next_look)
        self.take_button.clicked.connect(self.toggle_take)
        self.card.guide_button.clicked.connect(self.begin_guidance)
        self.card.why_button.clicked.connect(self.toggle_why)
        self.guide.skip_button.clicked.connect(self.guidance.skip)
        self.guide.leave_button.clicked.connect(self.guidance.leave)
        self.why.closed.connect(self.toggle_why)
        self.why.prove_button.clicked.connect(self.toggle_proof)
        self.harbour.chosen.connect(self.choose_channel)
        self.banner.dismissed.connect(self._wave_away)
        self.banner.details_wanted.connect(self._save_details)
        self.takes.chosen.connect(self.happenings.show_take)
        self.takes.name_field.returnPressed.connect(self.take_button.setFocus)
        self.logbook.show = self.takes.show_takes
        self.logbook.tell = self._tell
        for key, action in (
            (Qt.Key.Key_Space, self.toggle_take),
            (Qt.Key.Key_R, self.start_afresh),
            (Qt.Key.Key_L, self.next_look),
            (Qt.Key.Key_G, self.begin_guidance),
            (Qt.Key.Key_N, self.guidance.skip),
            (Qt.Key.Key_W, self.toggle_why),
            ("?", self.toggle_why),
            (Qt.Key.Key_P, self.toggle_proof),
            (Qt.Key.Key_Escape, self.step_back),
            (QKeySequence.StandardKey.ZoomIn, lambda: self.scale_texts(1)),
            (QKeySequence.StandardKey.ZoomOut, lambda: self.scale_texts(-1)),
            ("Ctrl+0", lambda: self.scale_texts(0)),
        ):
            shortcut = QShortcut(QKeySequence(key), self)
            shortcut.setAutoRepeat(False)  # a key that is held down does not end the take it began
            shortcut.activated.connect(action)
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.look_at_engine)
        self._first_look = QTimer(self)
        self._first_look.setSingleShot(True)
        # The list of devices takes a while and interrupts nothing: after the first picture is up.
        self._first_look.timeout.connect(self.list_inputs)

    def _restore(self) -> None:
        settings = self._services.settings
        name, percent = settings.get("theme") or "", settings.get("text_percent") or ""
        scale = int(percent) / 100 if percent.isascii() and percent.isdigit() else 1.0
        scale = max(_LEAST_TEXT_PERCENT / 100, min(_MOST_TEXT_PERCENT / 100, scale))
        self.set_theme(Theme(name if name in PALETTES else Theme().name, scale))
        geometry = settings.get("geometry")
        if geometry:
            self.restoreGeometry(QByteArray.fromBase64(geometry.encode()))
        remembered = settings.get("input")
        if remembered is None and self._services.first_input is None:
            self._hint = words.first_run_hint()
        self._judge_by(settings.get("part") or self._services.default_part)
        self.open_input(
            self._services.first_input or remembered or self._services.default_input, remember=False
        )

    # What the user does

    def open_input(self, spec: str, *, remember: bool = True) -> None:
        """Listen to another input; on failure say why and stay with the present one."""
        try:
            source = self._services.open_input(spec)
        except SwellmarkError as error:
            self._tell(error)
            return
        self._told.clear()
        self._waved.clear()
        if remember:
            self._hint = ""
            self._services.settings.put("input", spec)
        self._source, self._spec = source, spec
        self._chosen_channel = -1
        self._follow_part(spec)
        self._services.engine.open(source)
        label = next((choice.label for choice in self._inputs if choice.spec == spec), spec)
        self.picker.show_input(spec, label)
        self.picker.show_gain(source.gain_db if isinstance(source, HasGain) else None)

    def list_inputs(self) -> None:
        """Ask the system for its inputs, on a thread of its own."""
        self.picker.show_choices(self._inputs, looking=True)
        self._errands.run("inputs", self._services.list_inputs, self._take_inputs, self._no_inputs)

    def choose_part(self, key: str) -> None:
        """Judge by another part."""
        self._judge_by(key)
        self._services.settings.put("part", key)
        self._services.settings.put("part_for", self._spec)
        if self.guidance.channel is not None:
            self.guidance.begin(key, self.guidance.channel)

    def _judge_by(self, key: str) -> None:
        self._part = key
        self.picker.show_part(key)
        self._services.choose_part(key)

    def _follow_part(self, spec: str) -> None:
        """Judge an input that is known to play something by that, and others by what the user chose last."""
        settings = self._services.settings
        chosen = settings.get("part")
        # Whoever chose a part while this input was open, and comes back to it later, is not overruled.
        played = None if chosen and spec == settings.get("part_for") else self._services.part_of_input(spec)
        wanted = played or chosen or self._services.default_part
        if wanted != self._part:
            self._judge_by(wanted)

    def choose_channel(self, channel: int) -> None:
        """Show a channel on the chart; -1 follows the one that needs attention first."""
        self._chosen_channel = channel
        self._texts_s = 0.0

    def toggle_take(self) -> None:
        """Begin a take, or end the one that runs."""
        keeper = self._services.keeper
        if keeper.current is None:
            self.guidance.leave()  # the take is watched by the live verdict
            keeper.begin(self.takes.name_field.text().strip(), self._part)
        else:
            keeper.end()
        self._texts_s = 0.0

    def begin_guidance(self) -> None:
        """Guide the channel that is shown to its gain; not in a take, where the gain must stay."""
        if self._services.keeper.current is None:
            self.guidance.begin(self._part, self.channel)

    def toggle_why(self) -> None:
        """Explain the verdict, or show the chart again."""
        if not self.why_is_open:
            self.why.explain(self._judgement(self._services.engine.snapshot))
        self.show_why(not self.why_is_open)

    def toggle_proof(self) -> None:
        """Run the standards' test signals before the user's eyes, or show the chart again."""
        if self.proof_is_open:
            self.close_proof()
        else:
            self.open_proof(self._services.prove)

    def step_back(self) -> None:
        """Close or leave what lies uppermost: the proof, the explanation, the session, or a message."""
        if self.proof_is_open:
            self.close_proof()
        elif self.why_is_open:
            self.toggle_why()
        elif self.guidance.runs:
            self.guidance.leave()
        else:
            self.banner.dismiss()

    def start_afresh(self) -> None:
        """Let go of held peaks, clip counts and the coach's evidence."""
        self._services.engine.reset()

    def next_look(self) -> None:
        """Change between the colours."""
        names = list(PALETTES)
        name = names[(names.index(self.theme.name) + 1) % len(names)]
        self._services.settings.put("theme", name)
        self.set_theme(Theme(name, self.theme.text_scale))

    def scale_texts(self, steps: int) -> None:
        """Make texts larger or smaller; 0 gives them the size of the type scale again."""
        percent = round(100 * self.theme.text_scale) + 10 * steps if steps else 100
        percent = max(_LEAST_TEXT_PERCENT, min(_MOST_TEXT_PERCENT, percent))
        self._services.settings.put("text_percent", str(percent))
        self.set_theme(Theme(self.theme.name, percent / 100))

    # What the program knows

    def look_at_engine(self) -> None:
        """Show the newest state. Called at the screen's rate."""
        now_s = time.monotonic()
        snapshot = self._services.engine.snapshot
        history = self._services.engine.history
        self._settle_channel(snapshot, now_s)
        if history is not self._history:
            self._history = history
            self.chart.redraw()
        # Texts before the picture: should drawing ever fail, the sentence about it must still appear.
        if now_s - self._texts_s >= _TEXT_S:
            self._texts_s = now_s
            self._show_texts(snapshot, now_s)
        # Half a tick of tolerance, so that the timer's jitter does not skip a frame.
        due = now_s - self._drawn_s > self.chart.frame_s - 0.5 * self._tick_s
        if due and self.isVisible() and not self.isMinimized():
            self._drawn_s = now_s
            self.chart.show_state(snapshot, history, self.channel, now_s)

    def _show_texts(self, snapshot: Snapshot, now_s: float) -> None:
        self._errands.collect()
        if self.crashes is not None:
            for report in self.crashes.collect():
                self._add_told(report)
        live = is_live(snapshot, now_s)
        notice = self._services.log_notice()
        if notice and notice not in self._noticed:
            self._noticed.add(notice)
            self._add_told(Message(notice))
        self._show_messages(snapshot, now_s)
        self._show_take()
        self.logbook.refresh(self._services.keeper.revision, now_s)
        self.figures.show_state(snapshot, self.channel, old=not live)
        several = len(snapshot.average_dbfs) > 1
        self.harbour.show_state(snapshot, self.channel, follows=self._chosen_channel < 0)
        judgement = self._judgement(snapshot)
        name = channel_label(snapshot, self.channel) if several else ""
        about_this = snapshot.coach is not None and snapshot.coach.worst_channel == self.channel
        self.card.show_judgement(
            judgement,
            name,
            old=not live and judgement is not None,
            forecast=snapshot.forecast if about_this else None,
        )
        self.guidance.show_state(snapshot, now_s, old=not live)
        if snapshot.info is not None:
            info = snapshot.info
            self.banner.show_facts(
                words.stream_facts(info.rate_hz, info.channels, snapshot.lost_frames, info.note)
            )
            self.picker.show_input(info.spec, info.name)
        self.chart.describe(snapshot, self.channel)

    def _judgement(self, snapshot: Snapshot) -> Judgement | None:
        coach = snapshot.coach
        return coach.channels[self.channel] if coach and self.channel < len(coach.channels) else None

    def _settle_channel(self, snapshot: Snapshot, now_s: float) -> None:
        count = len(snapshot.average_dbfs)
        if self.guidance.channel is not None and self.guidance.channel < count:
            self.channel = self.guidance.channel
            return
        if self._chosen_channel >= 0:
            self.channel = min(self._chosen_channel, max(0, count - 1))
            return
        worst = snapshot.coach.worst_channel if snapshot.coach is not None else 0
        if worst != self._worst_since[0]:
            self._worst_since = (worst, now_s)
        if self.channel >= count or now_s - self._worst_since[1] > _SETTLE_S:
            self.channel = worst

    def _show_messages(self, snapshot: Snapshot, now_s: float) -> None:
        found = messages_for(
            snapshot,
            now_s,
            log_problem=self._services.log_problem(),
            told=self._told,
            hint=self._hint,
        )
        texts = {message.text for message in found}
        self._waved &= texts  # what went away and comes back is told again
        self.messages = [m for m in found if m.stays or m.text not in self._waved]
        self.banner.show_messages(self.messages)

    def _show_take(self) -> None:
        take = self._services.keeper.current
        self.card.guide_button.setEnabled(take is None)
        self.show_take(take.duration_s if take is not None else None)

    def _turn_gain(self, gain_db: float) -> None:
        if isinstance(self._source, HasGain):
            self._source.gain_db = gain_db

    def _take_inputs(self, choices: object) -> None:
        self._inputs = tuple(choices)  # type: ignore[arg-type]  # an errand's result is untyped
        self.picker.show_choices(self._inputs, looking=False)

    def _no_inputs(self, error: Exception) -> None:
        self.picker.show_choices(self._inputs, looking=False)
        self._tell(error)

    def _tell(self, error: Exception) -> None:
        if isinstance(error, SwellmarkError):
            self._add_told(Message(error.sentence, urgent=True, detail=error.detail))
        else:
            self._add_told(crash_message(error))

    def _add_told(self, message: Message) -> None:
        if message not in self._told:
            self._told = [message, *self._told][:20]
        self._waved.discard(message.text)

    def _wave_away(self, text: str) -> None:
        self._waved.add(text)
        self._told = [message for message in self._told if message.text != text]
        if text == self._hint:
            self._hint = ""
        self._texts_s = 0.0

    def _save_details(self, detail: str) -> None:
        dialog = QFileDialog(self, words.save_details_title())
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.selectFile("swellmark-details.txt")
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)

        def save(path: str) -> None:
            try:
                Path(path).write_text(detail, encoding="utf-8")
            except OSError as error:
                self._add_told(Message(words.details_not_saved(error.strerror or str(error)), urgent=True))

        dialog.fileSelected.connect(save)
        dialog.open()

    # Coming and going

    def showEvent(self, event: QShowEvent) -> None:
        """Look at the screen's rate from now on."""
        super().showEvent(event)
        if not self._closed:
            self._pace()
            if not self._inputs:
                self._first_look.start(1200)

    def hideEvent(self, event: QHideEvent) -> None:
        """Nobody sees it: look now and then."""
        super().hideEvent(event)
        self._pace()

    def changeEvent(self, event: QEvent) -> None:
        """Look now and then while minimised."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.WindowStateChange:
            self._pace()

    @property
    def look_every_ms(self) -> int:
        """How often the window looks at the engine now; 0 = not at all."""
        return self._timer.interval() if self._timer.isActive() else 0

    def _pace(self) -> None:
        if self._closed:
            return
        seen = self.isVisible() and not self.isMinimized()
        screen = self.screen()
        rate_hz = screen.refreshRate() if screen is not None else 60.0
        rate_hz = rate_hz if 20.0 <= rate_hz <= 240.0 else 60.0
        self._tick_s = 1.0 / rate_hz
        self._timer.start(max(1, int(1000.0 / rate_hz)) if seen else _SLOW_MS)

    def closeEvent(self, event: QCloseEvent) -> None:
        """End the take, the engine and the log, each within its limit; the window is gone at once."""
        event.accept()
        self.shut_down()

    def shut_down(self) -> bool:
        """Let go of everything, in order; False when something did not end in time. May be called twice."""
        if self._closed:
            return True
        self._closed = True
        self._timer.stop()
        self._first_look.stop()
        if self.proof is not None:
            self.proof.shut_down()
        services = self._services
        services.settings.put("geometry", bytes(self.saveGeometry().toBase64().data()).decode())
        self.hide()
        return say_farewell(services)


def run(services: Services) -> int:
    """Open the window and stay until it closes; the exit status of the program."""
    application = _application()
    application.setApplicationName("swellmark")
    application.setApplicationDisplayName(words.title())
    application.setDesktopFileName("swellmark")
    application.setWindowIcon(icon())
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
