"""The other views of the same state: from afar, and as a strip beside other windows."""

from __future__ import annotations

from collections.abc import Callable

from app.window.actions import Actions
from app.window.afar import Afar
from app.window.glance import ClipWatch, Glance
from app.window.strip import Line, Strip
from app.window.theme import Theme
from app.words import glance as words

_STRIP_KEYS = ("take", "afresh", "seen", "strip", "back")


class Views:
    """Opens them, keeps the count of unseen clips for all of them, and shows them what is new.

    Parameters
    ----------
    afar
        The view from afar, which the window holds.
    line
        The same in one line, above pages.
    show_afar
        Called with whether the window shows it.
    tell
        Called with what cannot be had on this desktop.
    """

    def __init__(
        self, afar: Afar, line: Line, show_afar: Callable[[bool], None], tell: Callable[[str], None]
    ) -> None:
        self._afar, self._line = afar, line
        self._show_afar, self._tell = show_afar, tell
        self._actions: Actions | None = None
        self.clips = ClipWatch()
        self.afar_is_open = False
        self.strip: Strip | None = None
        """Made when it is first asked for."""
        self.look_again: Callable[[], None] = lambda: None
        """Called when what was shown should be shown anew."""
        self.come_back: Callable[[], None] = lambda: None
        """Called when the strip was closed: the window is wanted again."""
        afar.seen_button.clicked.connect(self.seen)
        afar.back_button.clicked.connect(self.toggle_afar)

    @property
    def strip_is_open(self) -> bool:
        """Whether the strip is on the screen."""
        return self.strip is not None and self.strip.isVisible()

    def toggle_afar(self) -> None:
        """Fill the window with the verdict, or go back."""
        self.afar_is_open = not self.afar_is_open
        self._show_afar(self.afar_is_open)
        self.look_again()

    def toggle_strip(self, theme: Theme) -> None:
        """Open the strip, or close it."""
        if self.strip is None:
            self.strip = Strip(theme)
            self.strip.seen_button.clicked.connect(self.seen)
            self.strip.back_button.clicked.connect(self.strip.close)
            self.strip.closed.connect(self._strip_closed)
            if self._actions is not None:
                self.show_keys(self._actions)
        if self.strip.isVisible():
            self.strip.close()
        else:
            self.strip.set_theme(theme)
            self.strip.show()
            if not self.strip.stays_on_top():
                self._tell(words.not_on_top())
        self.look_again()

    def seen(self) -> None:
        """The clips were seen."""
        self.clips.seen()
        self.look_again()

    def _strip_closed(self) -> None:
        self.come_back()

    def show_keys(self, actions: Actions) -> None:
        """Let buttons say their keys."""
        self._actions = actions
        self._afar.seen_button.set_text(words.seen_button(actions.key_text("seen")))
        self._afar.back_button.set_text(words.back_button(actions.key_text("afar")))
        if self.strip is not None:
            self.strip.show_keys(actions, _STRIP_KEYS)

    def show_glance(self, glance: Glance) -> None:
        """Show one look wherever it can be seen."""
        if self.afar_is_open:
            self._afar.show_glance(glance)
        if self._line.isVisible():
            self._line.show_glance(glance)
        if self.strip is not None and self.strip.isVisible():
            self.strip.show_glance(glance)

    def set_theme(self, theme: Theme) -> None:
        """Take over colours and type."""
        self._afar.set_theme(theme)
        self._line.set_theme(theme)
        if self.strip is not None:
            self.strip.set_theme(theme)

    def shut_down(self) -> None:
        """The program ends."""
        self.come_back = lambda: None
        if self.strip is not None:
            self.strip.close()
            self.strip.deleteLater()
            self.strip = None
