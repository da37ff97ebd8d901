"""Runs the guided gain session for the window: begins it, skips, leaves, and shows it while it runs."""

from __future__ import annotations

from collections.abc import Callable

from app.coach.session import Cue, Step
from app.engine.snapshot import Snapshot
from app.window.guide import Guide
from app.window.harbour import channel_label
from app.window.services import Services

RESULT_S = 60.0
"""How long the result stays before the live verdict, which goes on listening, is shown again."""


class Guidance:
    """What the keys and buttons of the session do.

    Parameters
    ----------
    guide
        Shows the session.
    show_guide
        Called with whether the guide or the verdict card has the place.
    """

    def __init__(self, services: Services, guide: Guide, show_guide: Callable[[bool], None]) -> None:
        self._services = services
        self._guide = guide
        self._show_guide = show_guide
        self._step: Step | None = None
        self._step_s = 0.0
        self._clips_before = 0
        self._turned = False
        self.channel: int | None = None
        """Column of the channel that is guided; None while no session runs."""

    @property
    def runs(self) -> bool:
        """Whether a session is shown."""
        return self.channel is not None

    def begin(self, part: str, channel: int) -> None:
        """Begin a session for this channel, or begin it again."""
        self._services.engine.begin_session(self._services.make_session(part, channel), channel)
        self._step = None

    def skip(self) -> None:
        """Go on with the next step, where there is something to go on with."""
        if self.runs and self._guide.skip_button.isEnabled():
            self._services.engine.skip_step()

    def leave(self) -> None:
        """Leave the session that runs."""
        self._services.engine.end_session()

    def show_state(self, snapshot: Snapshot, now_s: float, *, old: bool) -> None:
        """Show the session that runs, or the card when none does."""
        state = snapshot.session
        if state is None:
            if self.runs:
                if self._turned:
                    self._services.engine.reset()
                self._turned = False
                self.channel = self._step = None
                self._show_guide(False)
            return
        began = not self.runs
        self.channel = channel = snapshot.session_channel
        clips = snapshot.clips[channel] if channel < len(snapshot.clips) else 0
        if self._turned and state.step in (Step.CHECK, Step.DONE):
            # What the live verdict rests on was heard before the knob was turned.
            self._services.engine.reset()
            self._turned = False
        elif state.step is Step.TURN:
            self._turned = state.cue is not Cue.TURN
        if state.step is not self._step:
            self._step, self._step_s, self._clips_before = state.step, now_s, clips
        name = channel_label(snapshot, channel) if len(snapshot.average_dbfs) > 1 else ""
        # Starting afresh sets the count back.
        self._clips_before = min(self._clips_before, clips)
        self._guide.show_session(state, name, clips - self._clips_before, old=old)
        if began:
            self._show_guide(True)
        if state.step is Step.DONE and now_s - self._step_s > RESULT_S:
            self.leave()
