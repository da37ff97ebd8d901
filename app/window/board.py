"""Every part of the window in its place, in its colours; nothing here knows what moves them.

The head says what is listened to, the banner what is wrong. Below them lies the board, on a grid of two
columns: what is heard on the left, what to do about it on the right; or, in its place, a page. The foot
leads from one to the other.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

from PySide6.QtCore import QTimer, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QStackedLayout,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.coach.judgement import Target
from app.window.actions import BOARD, Actions
from app.window.afar import Afar
from app.window.banner import Banner
from app.window.card import VerdictCard
from app.window.chart import SeaChart
from app.window.controls import Button
from app.window.figures import Figures
from app.window.foot import Foot
from app.window.guide import Guide
from app.window.handsfree import HandsFreeControl
from app.window.harbour import Harbour
from app.window.pagelist import WORDS
from app.window.pages import Pages, PageSpec, PageTools
from app.window.picker import Picker
from app.window.proof import Proof, Prove
from app.window.services import PartChoice
from app.window.strip import Line
from app.window.takes import Happenings, Takes
from app.window.theme import GAP, MARGIN, TARGET, UNIT, Theme, qt_palette, style_sheet
from app.window.why import Why
from app.words import card as card_words
from app.words import conform as conform_words
from app.words import glance as glance_words
from app.words import glossary as glossary_words
from app.words import numbers
from app.words import session as session_words
from app.words import window as words


class Board(QWidget):
    """The parts.

    Parameters
    ----------
    pages
        What can be opened in the board's place.
    tools
        What such a page may use, asked for when one is opened for the first time.
    """

    def __init__(
        self,
        parts: Sequence[PartChoice],
        gain_range_db: tuple[float, float],
        target: Target,
        pages: Sequence[PageSpec],
        tools: Callable[[], PageTools],
    ) -> None:
        super().__init__()
        self.setObjectName("window")
        self.setWindowTitle(words.title())
        self.theme = theme = Theme()
        self.picker = Picker(theme, parts, gain_range_db)
        self.afresh = Button(words.afresh(""), tip=words.afresh_tip())
        self.banner = Banner(theme)
        self.chart = SeaChart(theme)
        self.chart.set_target(target)
        self.harbour = Harbour(theme)
        self.card = VerdictCard(theme)
        self.guide = Guide(theme)
        self.why = Why(theme)
        self.proof: Proof | None = None
        """Made when it is first asked for."""
        self.figures = Figures(theme)
        self._take_key = ""
        self._take_s: float | None = None
        self.take_button = Button(words.begin_take(""))
        self.take_button.setProperty("action", True)
        self.take_button.setMinimumHeight(TARGET + 4 * UNIT)
        self.handsfree = HandsFreeControl(theme)
        self.takes = Takes(theme, {part.key: part.label for part in parts})
        self.takes.add_to_head(self.handsfree)
        self.happenings = Happenings(theme)
        self.pages = Pages(self._arrange_board(), pages, tools, home=self.take_button)
        self.foot = Foot(theme)
        self.foot.add(BOARD, words.board_title(), words.board_tip())
        for spec in pages:
            self.foot.add(spec.name, spec.title(), spec.tip())
        self.foot.add("overlay", glossary_words.overlay_title(), glossary_words.overlay_tip(), place=False)
        self.foot.add("afar", glance_words.afar_title(), glance_words.afar_tip(), place=False)
        self.foot.add("strip", glance_words.strip_title(), glance_words.strip_tip(), place=False)
        self.foot.add("look", words.look_name(theme.name), words.look_tip(), place=False)
        self.foot.show_place(BOARD)
        self.afar = Afar(theme)
        self.line = Line(theme)
        """The verdict in a line, above pages."""
        self._arrange()
        self._order_keys()

    def set_theme(self, theme: Theme) -> None:
        """Take over colours and type everywhere."""
        self.theme = theme
        self.setPalette(qt_palette(theme.palette))
        self.setStyleSheet(style_sheet(theme))
        self.foot.retitle("look", words.look_name(theme.name))
        if self.proof is not None:
            self.proof.set_theme(theme)
        for part in (
            self.pages,
            self.foot,
            self.picker,
            self.banner,
            self.chart,
            self.harbour,
            self.card,
            self.guide,
            self.why,
            self.figures,
            self.handsfree,
            self.takes,
            self.happenings,
        ):
            part.set_theme(theme)
        # Once the layout knows how large the letters have become.
        QTimer.singleShot(0, self, self._suit_letters)

    def show_keys(self, actions: Actions) -> None:
        """Let every button say its key."""
        key = actions.key_text
        self._take_key = key("take")
        self.show_take(self._take_s)
        self.afresh.set_text(words.afresh(key("afresh")))
        self.card.guide_button.set_text(session_words.guide_button(key("guide")))
        self.card.why_button.set_text(card_words.why_button(key("why")))
        self.guide.skip_button.set_text(session_words.skip_button(key("skip")))
        self.guide.leave_button.set_text(session_words.leave_button(key("back")))
        self.why.prove_button.set_text(conform_words.proof_button(key("proof")))
        self.why.words_button.set_text(glossary_words.all_words_button(key(WORDS)))
        self.why.close_button.set_text(card_words.close_why(key("back")))
        self.foot.show_keys(actions)

    def show_take(self, duration_s: float | None) -> None:
        """Let the button say what it does now: begin, or end the take that has run for so long."""
        running = duration_s is not None
        self._take_s = duration_s
        key = self._take_key
        text = words.begin_take(key)
        if duration_s is not None:
            text = words.end_take(key, numbers.clock(duration_s))
        self.take_button.set_text(text)
        self.afar.take_button.set_text(text)
        if self.take_button.property("running") != running:
            self.take_button.setProperty("running", running)
            # A style sheet looks at properties only when it is asked to.
            self.take_button.style().unpolish(self.take_button)
            self.take_button.style().polish(self.take_button)

    def show_afar(self, shown: bool) -> None:
        """Give the whole window to the view from afar, or back."""
        self._views.setCurrentWidget(self.afar if shown else self._whole)
        (self.afar.take_button if shown else self.take_button).setFocus()

    def show_guide(self, shown: bool) -> None:
        """Give the card's place to the guided session, or back."""
        self._swap(self._say, self.guide if shown else self.card)

    @property
    def overlay_is_open(self) -> bool:
        """Whether the chart explains itself."""
        return self.chart.overlay.isVisible()

    def show_overlay(self, shown: bool) -> None:
        """Let the chart explain itself, or stop."""
        self.chart.show_overlay(shown)
        if not shown:
            self.take_button.setFocus()

    def show_sea(self) -> None:
        """Give the chart its place back, whatever has it."""
        if self.proof_is_open:
            self.close_proof()
        elif self.why_is_open:
            self.show_why(False)

    def show_why(self, shown: bool) -> None:
        """Give the chart's place to the explanation, or back."""
        self._swap(self._hear, self.why if shown else self._sea)
        (self.why.text if shown else self.card.why_button).setFocus()

    def open_proof(self, prove: Prove) -> None:
        """Give the chart's place to a run of the test signals."""
        if self.proof is None:
            self.proof = Proof(self.theme, prove)
            self.proof.closed.connect(self.close_proof)
            self._hear.addWidget(self.proof)
        self.proof.begin()
        self._swap(self._hear, self.proof)
        self.proof.table.setFocus()

    def close_proof(self) -> None:
        """Give the place back to the chart; the run ends."""
        if self.proof is not None:
            self.proof.leave()
        self._swap(self._hear, self._sea)
        self.card.why_button.setFocus()

    @property
    def proof_is_open(self) -> bool:
        """Whether the run of the test signals is shown."""
        return self.proof is not None and self._hear.currentWidget() is self.proof

    @property
    def why_is_open(self) -> bool:
        """Whether the explanation is shown."""
        return self._hear.currentWidget() is self.why

    @staticmethod
    def _swap(place: QStackedWidget, part: QWidget) -> None:
        """Show another part in a place; whoever had the focus there keeps it there."""
        focused = place.isAncestorOf(place.window().focusWidget())
        place.setCurrentWidget(part)
        if focused:
            stops = part.findChildren(Button)
            next((stop for stop in stops if stop.isVisibleTo(part) and stop.isEnabled()), part).setFocus()

    def _arrange(self) -> None:
        head = QHBoxLayout()
        head.setSpacing(GAP)
        head.addWidget(self.picker, 1)
        head.addWidget(self.afresh)
        self._whole = QWidget()
        self._views = QStackedLayout(self)
        self._views.addWidget(self._whole)
        self._views.addWidget(self.afar)
        layout = QVBoxLayout(self._whole)
        layout.setContentsMargins(MARGIN, GAP, MARGIN, GAP - UNIT)
        layout.setSpacing(GAP - UNIT)
        layout.addLayout(head)
        layout.addWidget(self.banner)
        layout.addWidget(self.line)
        self.line.hide()
        layout.addWidget(self.pages, 1)
        layout.addWidget(self.foot)
        self.resize(1280, 800)
        self.setMinimumSize(900, 560)

    def _arrange_board(self) -> QWidget:
        sea = QFrame()
        sea.setProperty("panel", True)
        sea_layout = QVBoxLayout(sea)
        sea_layout.setContentsMargins(UNIT, UNIT, UNIT, UNIT)
        sea_layout.addWidget(self.chart, 1)
        sea_layout.addWidget(self.harbour)
        self._sea = sea
        self._hear, self._say = QStackedWidget(), QStackedWidget()
        for place, parts in ((self._hear, (sea, self.why)), (self._say, (self.card, self.guide))):
            for part in parts:
                place.addWidget(part)
        take_panel = QFrame()
        take_panel.setProperty("panel", True)
        take_layout = QHBoxLayout(take_panel)
        take_layout.setContentsMargins(GAP, GAP - UNIT, GAP, GAP - UNIT)
        take_layout.addWidget(self.take_button)
        board = _Place()
        board.resized.connect(self._suit_height)
        self._grid = grid = QGridLayout(board)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(GAP)
        grid.setVerticalSpacing(GAP - UNIT)
        grid.addWidget(self._hear, 0, 0)
        grid.addWidget(self._say, 0, 1)
        grid.addWidget(self.figures, 1, 0)
        grid.addWidget(take_panel, 1, 1)
        grid.addWidget(self.takes, 2, 0)
        grid.addWidget(self.happenings, 2, 1)
        grid.setColumnStretch(0, 69)
        grid.setColumnStretch(1, 31)
        grid.setRowStretch(0, 10)
        grid.setRowStretch(2, 3)
        return board

    def _suit_letters(self) -> None:
        place = self._grid.parentWidget()
        if place is not None and place.isVisible():
            self._suit_height(place.height())

    def _suit_height(self, height: int) -> None:
        """In a low window, or with large letters, leave the list of takes to its page."""
        card = max(self.card.minimumHeight(), self.card.minimumSizeHint().height())
        need = card + self.figures.minimumSizeHint().height() + self.takes.list_height + 2 * (GAP - UNIT)
        shown = height >= need
        if shown == self.happenings.isHidden():
            self.happenings.setVisible(shown)
            self.takes.show_list(shown)
            self._grid.removeWidget(self.takes)
            self._grid.addWidget(self.takes, 2, 0, 1, 1 if shown else 2)

    def _order_keys(self) -> None:
        """Tab goes from the most wanted control through the rest, as they lie on the screen."""
        stops = (
            self.take_button,
            *self.card.stops,
            *self.guide.stops,
            *self.why.stops,
            *self.figures.stops,
            *self.handsfree.stops,
            self.takes.name_field,
            self.takes.table,
            self.happenings.list,
            *self.picker.stops,
            self.afresh,
            *self.banner.stops,
            *self.foot.stops,
            *self.afar.stops,
        )
        for before, after in itertools.pairwise(stops):
            QWidget.setTabOrder(before, after)
        self.take_button.setFocus()


class _Place(QWidget):
    """Where the board lies."""

    resized = Signal(int)
    """The height that there is now."""

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Say so."""
        super().resizeEvent(event)
        self.resized.emit(self.height())
