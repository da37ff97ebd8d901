"""Every part of the window in its place, in its colours; nothing here knows what moves them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QStackedWidget, QVBoxLayout, QWidget

from app.coach.judgement import Target
from app.window.banner import Banner
from app.window.card import VerdictCard
from app.window.chart import SeaChart
from app.window.controls import Button
from app.window.figures import Figures
from app.window.guide import Guide
from app.window.harbour import Harbour
from app.window.picker import Picker
from app.window.proof import Proof, Prove
from app.window.services import PartChoice
from app.window.takes import Happenings, Takes
from app.window.theme import GAP, MARGIN, TARGET, UNIT, Theme, qt_palette, style_sheet
from app.window.why import Why
from app.words import numbers
from app.words import window as words


class Board(QWidget):
    """The parts, on a grid of two columns: what is heard on the left, what to do about it on the right."""

    def __init__(
        self, parts: Sequence[PartChoice], gain_range_db: tuple[float, float], target: Target
    ) -> None:
        super().__init__()
        self.setObjectName("window")
        self.setWindowTitle(words.title())
        self.theme = theme = Theme()
        self.picker = Picker(theme, parts, gain_range_db)
        self.afresh = Button(words.afresh("R"), tip=words.afresh_tip())
        self.look = Button("", tip=words.look_tip())
        self.look.setProperty("flat", True)
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
        self.take_button = Button(words.begin_take(words.space_key()))
        self.take_button.setProperty("action", True)
        self.take_button.setMinimumHeight(TARGET + 4 * UNIT)
        self.takes = Takes(theme, {part.key: part.label for part in parts})
        self.happenings = Happenings(theme)
        self._arrange()
        self._order_keys()

    def set_theme(self, theme: Theme) -> None:
        """Take over colours and type everywhere."""
        self.theme = theme
        self.setPalette(qt_palette(theme.palette))
        self.setStyleSheet(style_sheet(theme))
        self.look.set_text(words.look_button(words.look_name(theme.name), "L"))
        if self.proof is not None:
            self.proof.set_theme(theme)
        for part in (
            self.picker,
            self.banner,
            self.chart,
            self.harbour,
            self.card,
            self.guide,
            self.why,
            self.figures,
            self.takes,
            self.happenings,
        ):
            part.set_theme(theme)

    def show_take(self, duration_s: float | None) -> None:
        """Let the button say what it does now: begin, or end the take that has run for so long."""
        running = duration_s is not None
        key = words.space_key()
        if duration_s is not None:
            self.take_button.set_text(words.end_take(key, numbers.clock(duration_s)))
        else:
            self.take_button.set_text(words.begin_take(key))
        if self.take_button.property("running") != running:
            self.take_button.setProperty("running", running)
            # A style sheet looks at properties only when it is asked to.
            self.take_button.style().unpolish(self.take_button)
            self.take_button.style().polish(self.take_button)

    def show_guide(self, shown: bool) -> None:
        """Give the card's place to the guided session, or back."""
        self._swap(self._say, self.guide if shown else self.card)

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
        head.addWidget(self.look)
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
        grid = QGridLayout(self)
        grid.setContentsMargins(MARGIN, GAP, MARGIN, MARGIN)
        grid.setHorizontalSpacing(GAP)
        grid.setVerticalSpacing(GAP - UNIT)
        grid.addLayout(head, 0, 0, 1, 2)
        grid.addWidget(self.banner, 1, 0, 1, 2)
        grid.addWidget(self._hear, 2, 0)
        grid.addWidget(self._say, 2, 1)
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

    def _order_keys(self) -> None:
        """Tab goes from the most wanted control through the rest, as they lie on the screen."""
        stops = (
            self.take_button,
            *self.card.stops,
            *self.guide.stops,
            *self.why.stops,
            self.takes.name_field,
            self.takes.table,
            self.happenings.list,
            *self.picker.stops,
            self.afresh,
            self.look,
            *self.banner.stops,
        )
        for before, after in itertools.pairwise(stops):
            QWidget.setTabOrder(before, after)
        self.take_button.setFocus()
