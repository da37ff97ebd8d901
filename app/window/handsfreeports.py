"""What the control for takes without hands needs from the rest of the program."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from app.engine.handsfree import HandsFreeState, Wishes


@dataclass(frozen=True)
class HandsFreeServices:
    """By itself nothing begins, nothing ends, and nothing is kept. No call blocks."""

    state: Callable[[], HandsFreeState] = HandsFreeState
    """What it does now."""
    wish: Callable[[Wishes], None] = field(default=lambda _wishes: None)
    """Have this happen by itself from now on."""
    name_next: Callable[[str, str], None] = field(default=lambda _name, _part: None)
    """What the next take that begins by itself is called, and what is played: a part's key."""
    keeps_clips: Callable[[], bool] = field(default=lambda: False)
    """Whether the sound around clips is kept."""
    keep_clips: Callable[[bool], None] = field(default=lambda _on: None)
    """Keep it from now on, or not."""
    clips_folder: str = ""
    """Where it is kept."""
