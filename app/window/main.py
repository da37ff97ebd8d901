"""The window: puts the parts together and carries between them what the program knows.

Threads: everything here runs on the window's own thread. A timer at the screen's rate reads the engine's
newest snapshot; nothing is waited for, except, within limits, when the window closes.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import QByteArray, QEvent, QMimeData, QTimer
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QHideEvent, QShowEvent

from app.coach.judgement import Judgement
from app.engine.snapshot import Snapshot
from app.window.actions import BOARD, Actions
from app.window.board import Board
from app.window.crash import CrashReports
from app.window.errands import Errands
from app.window.farewell import say_farewell
from app.window.following import Following
from app.window.glance import glance_at
from app.window.guidance import Guidance
from app.window.handsfree import HandsFree
from app.window.harbour import channel_label
from app.window.keytable import key_table
from app.window.listening import Listening
from app.window.logbook import Logbook
from app.window.looks import Looks
from app.window.messages import is_live
from app.window.notices import Notices
from app.window.pace import Pace
from app.window.pagelist import PAGES, WORDS
from app.window.pages import PageSpec, PageTools
from app.window.services import Services
from app.window.theme import Theme
from app.window.views import Views
from app.words import messages as words
from app.words import picker as picker_words

_TEXT_S = 0.1
"""Digits that change faster than this cannot be read."""


class MainWindow(Board):
    """The board with what moves it.

    Parameters
    ----------
    services
        The rest of the program.
    crashes
        Where exceptions that nobody caught are put aside.
    pages
        What can be opened in the board's place.
    """

    def __init__(
        self,
        services: Services,
        crashes: CrashReports | None = None,
        pages: Sequence[PageSpec] = PAGES,
    ) -> None:
        super().__init__(services.parts, services.gain_range_db, services.target, pages, self._page_tools)
        self._services = services
        self._errands = Errands()
        self._following = Following()
        self.looks = Looks(services.settings, self.set_theme)
        self._history: object | None = None
        self._texts_s = 0.0
        self._drawn_s = 0.0
        self._closed = False
        self.keys = Actions(self, services.settings)
        self.notices = Notices(self.banner, services.log_problem, services.log_notice, crashes)
        self.listening = Listening(services, self.picker, self._errands, self.notices)
        self.guidance = Guidance(services, self.guide, self.show_guide)
        self.logbook = Logbook(services.list_takes, services.read_take, self._errands)
        self.by_itself = HandsFree(self.handsfree, services.handsfree, services.settings)
        self.views = Views(self.afar, self.line, self.show_afar, self.notices.say)
        self._wire()
        self._fill_actions()
        self._restore()

    @property
    def channel(self) -> int:
        """The column that chart, card and figures show."""
        return self._following.channel

    # Putting together

    def _wire(self) -> None:
        self.afresh.clicked.connect(self.start_afresh)
        self.take_button.clicked.connect(self.toggle_take)
        self.afar.take_button.clicked.connect(self.toggle_take)
        self.views.look_again = self._look_soon
        self.views.come_back = self._come_back
        self.card.guide_button.clicked.connect(self.begin_guidance)
        self.card.why_button.clicked.connect(self.toggle_why)
        self.guide.skip_button.clicked.connect(self.guidance.skip)
        self.guide.leave_button.clicked.connect(self.guidance.leave)
        self.why.closed.connect(self.toggle_why)
        self.why.prove_button.clicked.connect(self.toggle_proof)
        self.why.words_button.clicked.connect(partial(self.explain, ""))
        self.figures.asked.connect(self.explain)
        self.chart.overlay.closed.connect(self.toggle_overlay)
        self.harbour.chosen.connect(self.choose_channel)
        self.takes.chosen.connect(self.happenings.show_take)
        self.takes.name_field.returnPressed.connect(self.take_button.setFocus)
        self.logbook.show = self.takes.show_takes
        self.logbook.tell = self.notices.tell
        self.listening.opened = partial(self.choose_channel, -1)
        self.listening.part_chosen = self._guide_anew
        self.pages.turned.connect(self._turned_to)
        self.foot.chosen.connect(self._go)
        self.setAcceptDrops(True)
        self._pace = Pace(self, self.look_at_engine)
        self._first_look = QTimer(self)
        self._first_look.setSingleShot(True)
        # The list of devices takes a while and interrupts nothing: after the first picture is up.
        self._first_look.timeout.connect(self.listening.list_inputs)

    def _fill_actions(self) -> None:
        self.keys.add(*key_table(self))
        self.keys.changed.connect(self._show_keys)
        self._show_keys()

    def _show_keys(self) -> None:
        self.show_keys(self.keys)
        self.views.show_keys(self.keys)

    def _page_tools(self) -> PageTools:
        return PageTools(
            services=self._services,
            theme=self.theme,
            errands=self._errands,
            tell=self.notices.tell,
            actions=self.keys,
            looks=self.looks,
            hands=self.by_itself,
            open_input=self.listening.open_input,
            go_to=self.pages.go_to,
            choose_channel=self.choose_channel,
            part=lambda: self.listening.part,
        )

    def _restore(self) -> None:
        settings = self._services.settings
        self.looks.restore()
        geometry = settings.get("geometry")
        if geometry:
            self.restoreGeometry(QByteArray.fromBase64(geometry.encode()))
        if settings.get("input") is None and self._services.first_input is None:
            self.notices.hint = words.first_run_hint()
        self.listening.begin()

    # What the user does

    def choose_channel(self, channel: int) -> None:
        """Show a channel on the chart; -1 follows the one that needs attention first."""
        self._following.chosen = channel
        self._look_soon()

    def _look_soon(self) -> None:
        """Show texts anew with the next tick."""
        self._texts_s = 0.0

    def toggle_take(self) -> None:
        """Begin a take, or end the one that runs."""
        keeper = self._services.keeper
        if keeper.current is None:
            self.guidance.leave()  # the take is watched by the live verdict
            keeper.begin(self.takes.name_field.text().strip(), self.listening.part)
        else:
            keeper.end()
        self._look_soon()

    def begin_guidance(self) -> None:
        """Guide the channel that is shown to its gain; not in a take, where the gain must stay."""
        if self._services.keeper.current is None:
            self.guidance.begin(self._part_of(self.channel), self.channel)

    def _part_of(self, channel: int) -> str:
        return self._services.channels.seat(channel).part or self.listening.part

    def _guide_anew(self) -> None:
        if self.guidance.channel is not None:
            self.guidance.begin(self._part_of(self.guidance.channel), self.guidance.channel)

    def toggle_why(self) -> None:
        """Explain the verdict, or show the chart again."""
        if not self.why_is_open:
            part = self._part_of(self.channel)
            choice = next((choice for choice in self._services.parts if choice.key == part), None)
            self.why.explain(self._judgement(self._services.engine.snapshot), choice)
        self.show_why(not self.why_is_open)

    def toggle_overlay(self) -> None:
        """Explain the chart on the chart, or stop."""
        shown = self.overlay_is_open
        if not shown:
            self.pages.go_to(BOARD)
            self.show_sea()
        self.show_overlay(not shown)

    def explain(self, term: str) -> None:
        """Open the page of words at one of them."""
        self.pages.go_to(WORDS)
        page = self.pages.page(WORDS)
        if page is not None:
            page.show_part(term)

    def toggle_proof(self) -> None:
        """Run the standards' test signals before the user's eyes, or show the chart again."""
        if self.proof_is_open:
            self.close_proof()
        else:
            self.open_proof(self._services.prove)

    def step_back(self) -> None:
        """Close or leave what lies uppermost: a page, the proof, the explanation, the session, a message."""
        if self.views.afar_is_open:
            self.views.toggle_afar()
        elif self.pages.step_back():
            return
        elif self.overlay_is_open:
            self.toggle_overlay()
        elif self.proof_is_open:
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
        self.views.seen()

    def set_theme(self, theme: Theme) -> None:
        """Take over colours and type, in other windows, too."""
        super().set_theme(theme)
        self.views.set_theme(theme)

    def _go(self, name: str) -> None:
        """A button of the foot was pressed."""
        if name in (BOARD, self.pages.place):
            self.pages.go_to(BOARD)
        else:
            self.keys.run(name)
        self.foot.show_place(self.pages.place)

    def _turned_to(self, place: str) -> None:
        self.keys.enter(place)
        self.foot.show_place(place)
        self.line.setVisible(place != BOARD)
        if self.views.afar_is_open:
            self.views.toggle_afar()
        self._look_soon()

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files that some page is for."""
        if self.pages.accepting(_files(event.mimeData())) is not None:
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Hand the files to that page."""
        paths = _files(event.mimeData())
        name = self.pages.accepting(paths)
        if name is not None:
            event.acceptProposedAction()
            self.pages.take_paths(name, paths)

    # What the program knows

    def look_at_engine(self) -> None:
        """Show the newest state. Called at the screen's rate."""
        now_s = time.monotonic()
        snapshot = self._services.engine.snapshot
        history = self._services.engine.history
        self._following.look(snapshot, now_s, self.guidance.channel)
        if history is not self._history:
            self._history = history
            self.chart.redraw()
        # Texts before the picture: should drawing ever fail, the sentence about it must still appear.
        if now_s - self._texts_s >= _TEXT_S:
            self._texts_s = now_s
            self._show_texts(snapshot, now_s)
            if not self.chart.isVisible():
                self._services.engine.look_at(now_s + _TEXT_S, _TEXT_S)
        flows, frame_s = self.chart.isVisible() and not self.isMinimized(), self.chart.frame_s
        self._pace.follow(min(frame_s, _TEXT_S) if flows else _TEXT_S)
        if flows and self._pace.is_due(now_s - self._drawn_s, frame_s):
            self._drawn_s = now_s
            self.chart.show_state(snapshot, history, self.channel, now_s)
            next_s = time.monotonic() + self._pace.next_in_s(frame_s)
            self._services.engine.look_at(next_s, self._pace.lasts_s(frame_s))

    def _show_texts(self, snapshot: Snapshot, now_s: float) -> None:
        self._errands.collect()
        live = is_live(snapshot, now_s)
        self.notices.show_state(snapshot, now_s)
        self._show_take()
        next_name = self.takes.name_field.text().strip()
        self.by_itself.show_state(next_name, self.listening.part, paused=self.guidance.runs)
        self.logbook.refresh(self._services.keeper.revision, now_s)
        self.figures.show_state(snapshot, self.channel, old=not live)
        several = len(snapshot.average_dbfs) > 1
        self.harbour.show_state(snapshot, self.channel, follows=self._following.follows)
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
                picker_words.stream_facts(info.rate_hz, info.channels, snapshot.lost_frames, info.note)
            )
            self.picker.show_input(info.spec, info.name)
        self.chart.set_target(self._services.target_of(self.channel))
        self.chart.describe(snapshot, self.channel)
        self._show_glance(snapshot, judgement, old=not live)
        self.pages.show_state(snapshot, now_s, self.channel)

    def _show_glance(self, snapshot: Snapshot, judgement: Judgement | None, *, old: bool) -> None:
        self.views.clips.look(snapshot)
        take = self._services.keeper.current
        self.views.show_glance(
            glance_at(
                snapshot,
                self.channel,
                judgement,
                old=old,
                unseen_clips=self.views.clips.unseen,
                take_s=take.duration_s if take is not None else None,
            )
        )

    def _judgement(self, snapshot: Snapshot) -> Judgement | None:
        coach = snapshot.coach
        return coach.channels[self.channel] if coach and self.channel < len(coach.channels) else None

    def _show_take(self) -> None:
        take = self._services.keeper.current
        self.card.guide_button.setEnabled(take is None)
        self.show_take(take.duration_s if take is not None else None)

    # Coming and going

    def showEvent(self, event: QShowEvent) -> None:
        """Look at the screen's rate from now on."""
        super().showEvent(event)
        if not self._closed:
            self._keep_pace()
            if not self.listening.inputs:
                self._first_look.start(1200)

    def _come_back(self) -> None:
        if self.isMinimized() or not self.isVisible():
            self.showNormal()
        self.raise_()
        self.activateWindow()
        self._keep_pace()

    def hideEvent(self, event: QHideEvent) -> None:
        """Nobody sees it: look now and then."""
        super().hideEvent(event)
        self._keep_pace()

    def changeEvent(self, event: QEvent) -> None:
        """Look now and then while minimised."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.WindowStateChange:
            self._keep_pace()

    @property
    def look_every_ms(self) -> int:
        """How often the window looks at the engine now; 0 = not at all."""
        return self._pace.every_ms

    def _keep_pace(self) -> None:
        if self._closed:
            return
        seen = (self.isVisible() and not self.isMinimized()) or self.views.strip_is_open
        self._pace.go(seen=seen)
        self._services.engine.set_seen(seen)

    def closeEvent(self, event: QCloseEvent) -> None:
        """End the take, the engine and the log, each within its limit; the window is gone at once."""
        event.accept()
        self.shut_down()

    def shut_down(self) -> bool:
        """Let go of everything, in order; False when something did not end in time. May be called twice."""
        if self._closed:
            return True
        self._closed = True
        self._pace.stop()
        self._first_look.stop()
        if self.proof is not None:
            self.proof.shut_down()
        services = self._services
        services.settings.put("geometry", bytes(self.saveGeometry().toBase64().data()).decode())
        self.hide()
        self.views.shut_down()
        self.pages.shut_down()
        return say_farewell(services)


def _files(data: QMimeData) -> list[Path]:
    """The files of this machine among what is dragged."""
    return [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile()]
