"""Whole pages of the window, between its banner and its foot: each is made when it is first opened.

How to add a page:

1. Write it as a subclass of :class:`Page` in a file of its own, its texts in a file of its own in
   ``app/words``. Its factory takes one :class:`PageTools` and may take a moment; everything slow is an
   errand of those tools.
2. What it needs from the rest of the program is a frozen dataclass of its own (see
   ``app/window/services.py``).
3. Add a :class:`PageSpec` to ``PAGES`` in ``app/window/pagelist.py``: name, title, tip, default key, a
   factory that imports the page's module late, and, if files may be dropped for it, ``accepts``.
4. The window does the rest: the button in the foot, the key (shown, and changeable), the tool tip, Esc and
   focus. While a page is open the engine, the take and the log go on; ``show_state`` brings the newest
   state.
5. Keys of its own are :class:`~app.window.actions.Action` with ``where`` = the page's name, added by its
   factory.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QSizePolicy, QStackedWidget, QWidget

from app.engine.snapshot import Snapshot
from app.window.actions import BOARD, Actions
from app.window.errands import Errands
from app.window.handsfree import HandsFree
from app.window.looks import Looks
from app.window.services import Services
from app.window.theme import Theme


@dataclass(frozen=True)
class PageTools:
    """What a page may use of the window."""

    services: Services
    theme: Theme
    """The one of now; :meth:`Page.set_theme` brings others."""
    errands: Errands
    """Runs what is slow; its outcome comes back on the window's thread."""
    tell: Callable[[Exception], None]
    """Shows an error in the banner."""
    actions: Actions
    looks: Looks
    """Colours, size of texts and motion, to be changed."""
    hands: HandsFree
    """What ends takes that begin by themselves, to be changed."""
    open_input: Callable[[str], None]
    """Listens to an input, by its spec, and remembers it."""
    go_to: Callable[[str], None]
    """Opens another page by its name; :data:`~app.window.actions.BOARD` closes the page."""
    choose_channel: Callable[[int], None] = lambda _channel: None
    """Shows a channel (column index, from 0) on the chart."""
    part: Callable[[], str] = lambda: ""
    """The key of the part that the whole input is judged by."""


class Page(QFrame):
    """A page. All of these may be overridden; none needs to be."""

    closed = Signal()
    """The page asks to be closed."""

    stops: Sequence[QWidget] = ()
    """What the keyboard reaches, in order."""

    @property
    def first_focus(self) -> QWidget | None:
        """What has the focus when the page opens; None = the first of the stops that can have it."""
        return next((stop for stop in self.stops if stop.isVisibleTo(self) and stop.isEnabled()), None)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""

    def show_state(self, snapshot: Snapshot, now_s: float, channel: int) -> None:
        """Show the newest state, ten times a second while the page is open. ``channel`` is a column index."""

    def enter(self) -> None:
        """The page was opened: read anew what may have changed."""

    def leave(self) -> None:
        """The page was closed, and may be opened again."""

    def show_part(self, key: str) -> None:
        """Show one thing of it, by a key that the page knows; the page is open by now."""

    def take_paths(self, paths: Sequence[Path]) -> None:
        """Files were dropped on the window for this page, which is open by now."""

    def step_back(self) -> bool:
        """Esc: close what lies on top in the page; False when there was nothing, and the page closes."""
        return False

    def shut_down(self) -> None:
        """The program ends: let go of everything, within a second."""


@dataclass(frozen=True)
class PageSpec:
    """How a page is offered before it is made."""

    name: str
    """For settings and the code; never changed."""
    title: Callable[[], str]
    """One word, on its button."""
    tip: Callable[[], str]
    """What it is for, in a sentence."""
    key: str
    """Unless the user chose another."""
    make: Callable[[PageTools], Page]
    accepts: Callable[[Sequence[Path]], bool] = field(default=lambda _paths: False)
    """Whether these files may be dropped on the window for this page; called often, so no disk is read."""


class Pages(QStackedWidget):
    """Holds the board and the pages that were opened, and shows one of them."""

    turned = Signal(str)
    """The page that is shown now, or :data:`~app.window.actions.BOARD`."""

    def __init__(
        self, board: QWidget, specs: Sequence[PageSpec], tools: Callable[[], PageTools], home: QWidget
    ) -> None:
        super().__init__()
        self.specs = tuple(specs)
        self._tools = tools
        self._board, self._home = board, home
        self._made: dict[str, Page] = {}
        self._came_from: QWidget | None = None
        self.addWidget(board)

    @property
    def place(self) -> str:
        """The name of the page that is shown, or :data:`~app.window.actions.BOARD`."""
        return next((name for name, page in self._made.items() if page is self.currentWidget()), BOARD)

    def page(self, name: str) -> Page | None:
        """A page that was opened before."""
        return self._made.get(name)

    def toggle(self, name: str) -> None:
        """Open a page, or go back from it when it is open."""
        self.go_to(BOARD if self.place == name else name)

    def go_to(self, name: str) -> None:
        """Show a page, made now if it never was, or the board."""
        before = self.place
        if name == before:
            return
        target = self._board if name == BOARD else self._page(name)
        if before == BOARD:
            self._came_from = self.window().focusWidget()
        else:
            self._made[before].leave()
        self._show(target)
        if isinstance(target, Page):
            target.enter()
            focus = target.first_focus or target
            focus.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            back = self._came_from
            usable = back is not None and back.isVisibleTo(self.window()) and back.isEnabled()
            (back if back is not None and usable else self._home).setFocus(Qt.FocusReason.OtherFocusReason)
            self._came_from = None
        self.turned.emit(name)

    def step_back(self) -> bool:
        """Esc on a page; False on the board."""
        page = self._made.get(self.place)
        if page is None:
            return False
        if not page.step_back():
            self.go_to(BOARD)
        return True

    def accepting(self, paths: Sequence[Path]) -> str | None:
        """The page for which these files may be dropped: the open one before the others."""
        found = [spec.name for spec in self.specs if spec.accepts(paths)]
        return self.place if self.place in found else next(iter(found), None)

    def take_paths(self, name: str, paths: Sequence[Path]) -> None:
        """Open the page and hand it the files."""
        self.go_to(name)
        self._made[name].take_paths(paths)

    def show_state(self, snapshot: Snapshot, now_s: float, channel: int) -> None:
        """Hand the newest state to the page that is open."""
        page = self._made.get(self.place)
        if page is not None:
            page.show_state(snapshot, now_s, channel)

    def set_theme(self, theme: Theme) -> None:
        """Take over colours and type in every page that was made."""
        for page in self._made.values():
            page.set_theme(theme)

    def shut_down(self) -> None:
        """End whatever pages have under way."""
        for page in self._made.values():
            page.shut_down()

    def _show(self, target: QWidget) -> None:
        """Show one; the others ask for no room meanwhile, or a low window could hold none of them."""
        ignored, preferred = QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred
        for widget in (self._board, *self._made.values()):
            policy = preferred if widget is target else ignored
            widget.setSizePolicy(policy, policy)
        self.setCurrentWidget(target)

    def _page(self, name: str) -> Page:
        if name not in self._made:
            spec = next(spec for spec in self.specs if spec.name == name)
            page = spec.make(self._tools())
            page.setAccessibleName(spec.title())
            page.setFocusPolicy(Qt.FocusPolicy.TabFocus if not page.stops else Qt.FocusPolicy.NoFocus)
            page.closed.connect(lambda: self.go_to(BOARD))
            self._made[name] = page
            self.addWidget(page)
            stops = [stop for stop in page.stops if page.isAncestorOf(stop)]
            for before, after in itertools.pairwise(stops):
                QWidget.setTabOrder(before, after)
        return self._made[name]
