"""How the window looks: its colours, the size of its texts and whether it moves; remembered, and changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from app.window import desktop
from app.window.ports import Memory
from app.window.theme import PALETTES, Theme

LEAST_TEXT_PERCENT, MOST_TEXT_PERCENT = 80, 200
_STEP_PERCENT = 10
MOTIONS = ("desktop", "full", "little")
"""Follow the desktop, the picture flows, the picture goes on in steps."""


class Looks:
    """Keeps the theme.

    Parameters
    ----------
    show
        Called with every theme that is to be shown.
    """

    def __init__(self, memory: Memory, show: Callable[[Theme], None]) -> None:
        self._memory, self._show = memory, show
        self.theme = Theme()
        """What is shown."""

    def restore(self) -> None:
        """Show what was chosen last, or else what the desktop asks for."""
        name, percent = self._memory.get("theme") or "", self._memory.get("text_percent") or ""
        number = int(percent) if percent.isascii() and percent.isdigit() and len(percent) < 5 else 100
        palette = name if name in PALETTES else desktop.palette_name()
        self._take(Theme(palette, _within(number) / 100, self._is_still()))

    def next_palette(self) -> None:
        """Change between the colours."""
        names = list(PALETTES)
        name = names[(names.index(self.theme.name) + 1) % len(names)]
        self._memory.put("theme", name)
        self._take(replace(self.theme, name=name))

    @property
    def text_percent(self) -> int:
        """How large texts are."""
        return round(100 * self.theme.text_scale)

    def scale_texts(self, steps: int) -> None:
        """Make texts larger or smaller; 0 gives them the size of the type scale again."""
        percent = _within(self.text_percent + _STEP_PERCENT * steps if steps else 100)
        self._memory.put("text_percent", str(percent))
        self._take(replace(self.theme, text_scale=percent / 100))

    @property
    def motion(self) -> str:
        """One of :data:`MOTIONS`."""
        chosen = self._memory.get("motion")
        return chosen if chosen in MOTIONS else MOTIONS[0]

    def choose_motion(self, motion: str) -> None:
        """Let the picture flow or not."""
        self._memory.put("motion", motion)
        self._take(replace(self.theme, still=self._is_still()))

    def _is_still(self) -> bool:
        return desktop.wants_stillness() if self.motion == "desktop" else self.motion == "little"

    def _take(self, theme: Theme) -> None:
        self.theme = theme
        self._show(theme)


def _within(percent: int) -> int:
    return max(LEAST_TEXT_PERCENT, min(MOST_TEXT_PERCENT, percent))
