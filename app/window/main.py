"""The window: puts the parts together and carries between them what the program knows.

Threads: everything here runs on the window's own thread. A timer at the screen's rate reads the engine's
newest snapshot; nothing is waited for, except, within limits, when the window closes.
"""

from __future__ import annotations

import signal
import sys
import time
from importlib import resources
from pathlib import Path

from PySide6.QtCore import QByteArray, QEvent, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QHideEvent, QIcon, QKeySequence, QPixmap, QShortcut, QShowEvent
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QVBoxLayout,
    QWidget,
)

from app.engine.snapshot import Snapshot
from app.errors import SwellmarkError
from app.window.banner import Banner, Message
from app.window.card import VerdictCard
from app.window.chart import SeaChart
from app.window.controls import Button
from app.window.crash import CrashReports, crash_message
from app.window.errands import Errands
from app.window.figures import Figures
from app.window.harbour import Harbour, channel_label
from app.window.logbook import Logbook
from app.window.messages import is_live, messages_for
from app.window.picker import Picker
from app.window.services import HasGain, InputChoice, Services
from app.window.takes import Happenings, Takes
from app.window.theme import GAP, MARGIN, PALETTES, TARGET, UNIT, Theme, qt_palette, style_sheet
from app.words import numbers
from app.words import window as words

_SLOW_MS = 250
"""How often the window looks while it is not seen."""
_TEXT_S = 0.1
"""Digits that change faster than this cannot be read."""
_SETTLE_S = 1.5
"""How long another channel must be the worst before the chart turns to it by itself."""
_CLOSE_S = 9.0


class MainWindow(QWidget):
    """Everything on one screen.

    Parameters
    ----------
    services
        The rest of the program.
    crashes
        Where exceptions that nobody caught are put aside.
    """

    def __init__(self, services: Services, crashes: CrashReports | None = None) -> None:
        super().__init__()
        self.setObjectName("window")
        self.setWindowTitle(words.title())
        self._services = services
        self._crashes = crashes
        self._errands = Errands()
        self._theme = Theme(_known_theme(services.settings.get("theme")))
        self._source: object | None = None
        self._part = services.settings.get("part") or (services.parts[0].key if services.parts else "")
        self._inputs: tuple[InputChoice, ...] = ()
        self._told: list[Message] = []
        self._waved: set[str] = set()
        self._hint = ""
        self._chosen_channel = -1
        self._channel = 0
        self._worst_since: tuple[int, float] = (0, 0.0)
        self._history: object | None = None
        self._texts_s = 0.0
        self._closed = False
        self._build()
        self._wire()
        self.set_theme(self._theme)
        self._restore()

    # Putting together

    def _build(self) -> None:
        theme, services = self._theme, self._services
        self.picker = Picker(theme, services.parts, services.gain_range_db)
        self.afresh = Button(words.afresh("R"), tip=words.afresh_tip())
        self.look = Button("", tip=words.look_tip())
        self.look.setProperty("flat", True)
        self.banner = Banner(theme)
        self.chart = SeaChart(theme)
        self.chart.set_target(services.target)
        self.harbour = Harbour(theme)
        self.card = VerdictCard(theme)
        self.figures = Figures(theme)
        self.take_button = Button(words.begin_take(words.space_key()))
        self.take_button.setProperty("action", True)
        self.take_button.setMinimumHeight(TARGET + 4 * UNIT)
        self.takes = Takes(theme)
        self.happenings = Happenings(theme)
        self.logbook = Logbook(services.list_takes, services.read_take, self._errands)

        head = QHBoxLayout()
        head.setSpacing(GAP)
        head.addWidget(self.picker, 1)
        head.addWidget(self.afresh)
        head.addWidget(self.look)
        sea = QFrame()
        sea.setProperty("panel", True)
        sea_layout = QVBoxLayout(sea)
        sea_layout.setContentsMargins(UNIT, UNIT, UNIT, UNIT)
        sea_layout.addWidget(self.chart, 1)
        sea_layout.addWidget(self.harbour)
        take_panel = QFrame()
        take_panel.setProperty("panel", True)
        take_layout = QHBoxLayout(take_panel)
        take_layout.setContentsMargins(GAP, GAP, GAP, GAP)
        take_layout.addWidget(self.take_button)

        grid = QGridLayout(self)
        grid.setContentsMargins(MARGIN, GAP, MARGIN, MARGIN)
        grid.setHorizontalSpacing(GAP)
        grid.setVerticalSpacing(GAP - UNIT)
        grid.addLayout(head, 0, 0, 1, 2)
        grid.addWidget(self.banner, 1, 0, 1, 2)
        grid.addWidget(sea, 2, 0)
        grid.addWidget(self.card, 2, 1)
        grid.addWidget(self.figures, 3, 0)
        grid.addWidget(take_panel, 3, 1)
        grid.addWidget(self.takes, 4, 0)
        grid.addWidget(self.happenings, 4, 1)
        grid.setColumnStretch(0, 69)
        grid.setColumnStretch(1, 31)
        grid.setRowStretch(2, 10)
        grid.setRowStretch(4, 3)
        self.resize(1280, 800)
        self.setMinimumSize(900, 560)

    def _wire(self) -> None:
        self.picker.input_chosen.connect(self.open_input)
        self.picker.look_again.connect(self.list_inputs)
        self.picker.part_chosen.connect(self.choose_part)
        self.picker.gain_turned.connect(self._turn_gain)
        self.afresh.clicked.connect(self.start_afresh)
        self.look.clicked.connect(self.next_look)
        self.take_button.clicked.connect(self.toggle_take)
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
            (Qt.Key.Key_Escape, self.banner.dismiss),
        ):
            QShortcut(QKeySequence(key), self, activated=action)
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.look_at_engine)
        self._first_look = QTimer(self)
        self._first_look.setSingleShot(True)
        # The list of devices takes a while and interrupts nothing: after the first picture is up.
        self._first_look.timeout.connect(self.list_inputs)

    def _restore(self) -> None:
        settings = self._services.settings
        geometry = settings.get("geometry")
        if geometry:
            self.restoreGeometry(QByteArray.fromBase64(geometry.encode()))
        if self._part:
            self.picker.show_part(self._part)
            self._services.choose_part(self._part)
        remembered = settings.get("input")
        if remembered is None and self._services.first_input is None:
            self._hint = words.first_run_hint()
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
        self._source = source
        self._chosen_channel = -1
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
        self._part = key
        self._services.choose_part(key)
        self._services.settings.put("part", key)

    def choose_channel(self, channel: int) -> None:
        """Show a channel on the chart; -1 follows the one that needs attention first."""
        self._chosen_channel = channel
        self._texts_s = 0.0

    def toggle_take(self) -> None:
        """Begin a take, or end the one that runs."""
        keeper = self._services.keeper
        if keeper.current is None:
            keeper.begin(self.takes.name_field.text().strip(), self._part)
        else:
            keeper.end()
        self._texts_s = 0.0

    def start_afresh(self) -> None:
        """Let go of held peaks, clip counts and the coach's evidence."""
        self._services.engine.reset()

    def next_look(self) -> None:
        """Change between the colours."""
        names = list(PALETTES)
        name = names[(names.index(self._theme.name) + 1) % len(names)]
        self._services.settings.put("theme", name)
        self.set_theme(Theme(name, self._theme.text_scale))

    def set_theme(self, theme: Theme) -> None:
        """Take over colours and type everywhere."""
        self._theme = theme
        self.setPalette(qt_palette(theme.palette))
        self.setStyleSheet(style_sheet(theme))
        self.look.set_text(words.look_button(words.look_name(theme.name), "L"))
        for part in (
            self.picker,
            self.banner,
            self.chart,
            self.harbour,
            self.card,
            self.figures,
            self.takes,
            self.happenings,
        ):
            part.set_theme(theme)

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
        if self.isVisible() and not self.isMinimized():
            self.chart.show_state(snapshot, history, self._channel, now_s)
        if now_s - self._texts_s >= _TEXT_S:
            self._texts_s = now_s
            self._show_texts(snapshot, now_s)

    def _show_texts(self, snapshot: Snapshot, now_s: float) -> None:
        self._errands.collect()
        if self._crashes is not None:
            for report in self._crashes.collect():
                self._add_told(report)
        live = is_live(snapshot, now_s)
        self._show_messages(snapshot, now_s)
        self._show_take()
        self.logbook.refresh(self._services.keeper.revision, now_s)
        self.figures.show_state(snapshot, self._channel, old=not live)
        several = len(snapshot.average_dbfs) > 1
        self.harbour.show_state(snapshot, self._channel, follows=self._chosen_channel < 0)
        coach = snapshot.coach
        judgement = coach.channels[self._channel] if coach and self._channel < len(coach.channels) else None
        name = channel_label(snapshot, self._channel) if several else ""
        self.card.show_judgement(judgement, name, old=not live and judgement is not None)
        if snapshot.info is not None:
            info = snapshot.info
            self.banner.show_facts(
                words.stream_facts(info.rate_hz, info.channels, snapshot.lost_frames, info.note)
            )
            self.picker.show_input(info.spec, info.name)
        self.chart.describe(snapshot, self._channel)

    def _settle_channel(self, snapshot: Snapshot, now_s: float) -> None:
        count = len(snapshot.average_dbfs)
        if self._chosen_channel >= 0:
            self._channel = min(self._chosen_channel, max(0, count - 1))
            return
        worst = snapshot.coach.worst_channel if snapshot.coach is not None else 0
        if worst != self._worst_since[0]:
            self._worst_since = (worst, now_s)
        if self._channel >= count or now_s - self._worst_since[1] > _SETTLE_S:
            self._channel = worst

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
        self.banner.show_messages([m for m in found if m.stays or m.text not in self._waved])

    def _show_take(self) -> None:
        take = self._services.keeper.current
        running = take is not None
        key = words.space_key()
        if take is not None:
            self.take_button.set_text(words.end_take(key, numbers.clock(take.duration_s)))
        else:
            self.take_button.set_text(words.begin_take(key))
        if self.take_button.property("running") != running:
            self.take_button.setProperty("running", running)
            self.take_button.style().unpolish(self.take_button)
            self.take_button.style().polish(self.take_button)

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

    def _pace(self) -> None:
        if self._closed:
            return
        seen = self.isVisible() and not self.isMinimized()
        screen = self.screen()
        rate_hz = screen.refreshRate() if screen is not None else 60.0
        rate_hz = rate_hz if 20.0 <= rate_hz <= 240.0 else 60.0
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
        services = self._services
        services.settings.put("geometry", bytes(self.saveGeometry().toBase64().data()).decode())
        self.hide()

        def end() -> None:
            # The take first: whatever happens next, it is handed to the log.
            services.keeper.close()
            services.engine.stop()
            services.close_log()

        # On a thread, because a driver that hangs must not keep the window from going.
        ending = Errands()
        problems: list[Exception] = []
        ending.run("ending", end, lambda _none: None, problems.append)
        ended = ending.wait(_CLOSE_S)
        ending.collect()
        for problem in problems:
            sys.excepthook(type(problem), problem, problem.__traceback__)
        self.chart.close()
        return ended and not problems


def run(services: Services) -> int:
    """Open the window and stay until it closes; the exit status of the program."""
    application = QApplication.instance() or QApplication(["swellmark"])
    application.setApplicationName("swellmark")
    application.setApplicationDisplayName(words.title())
    application.setDesktopFileName("swellmark")
    application.setWindowIcon(icon())
    with CrashReports() as crashes:
        window = MainWindow(services, crashes)
        # Python sees a Ctrl-C the next time it runs, which the window's timer makes soon.
        before = signal.signal(signal.SIGINT, lambda *_: window.close())
        try:
            window.show()
            status: int = application.exec()
        finally:
            window.shut_down()
            signal.signal(signal.SIGINT, before)
    return status


def icon() -> QIcon:
    """The program's icon, from its own drawing."""
    pixmap = QPixmap()
    pixmap.loadFromData((resources.files("assets") / "icon.svg").read_bytes(), "SVG")
    return QIcon(pixmap)


def _known_theme(name: str | None) -> str:
    return name if name in PALETTES else next(iter(PALETTES))
