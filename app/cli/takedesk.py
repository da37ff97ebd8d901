"""Begins and ends takes for the window: the log judges the take alone, and the live coach knows it runs."""

from __future__ import annotations

from collections.abc import Mapping

from app.coach.judgement import Target
from app.coach.makers import Parts, Targets, live_coach, take_coach
from app.coach.parts import PartProfile
from app.engine.handsfree import HandsFree
from app.engine.loop import Engine
from app.log.keeper import TakeKeeper, TakeView


class TakeDesk:
    """What the window's take button works on.

    Parameters
    ----------
    keeper, engine
        Where takes are kept, and who judges meanwhile.
    parts, target
        What can be played, and where it should sit.
    handsfree
        What begins and ends takes by itself, with :meth:`begin_next` and :meth:`end`.
    """

    def __init__(
        self,
        keeper: TakeKeeper,
        engine: Engine,
        parts: Mapping[str, PartProfile],
        target: Target,
        handsfree: HandsFree | None = None,
    ) -> None:
        self._keeper = keeper
        self._engine = engine
        self._handsfree = handsfree
        self._next = ("", "other")
        self._parts = parts
        self._targets = Targets(target)
        self._key = "other"
        self._own: dict[int, str] = {}

    def begin(self, name: str = "", part: str = "") -> None:
        """Begin a take with the next hop, because a hand asks for it."""
        if self._handsfree is not None:
            self._handsfree.begun_by_hand()
        self._begin(name, part)

    def name_next(self, name: str, part: str) -> None:
        """What the next take that begins by itself is called, and what is played. Any thread."""
        self._next = (name, part)

    def begin_next(self) -> None:
        """Begin it. On the analysis thread: waits for nothing."""
        self._begin(*self._next)

    def _begin(self, name: str, part: str) -> None:
        profile = self._profile(part)
        self._keeper.begin(
            name,
            profile.key,
            make_coach=take_coach(self._seated(profile), self._targets),
        )
        self._engine.set_taking(True)

    def end(self) -> None:
        """End the take that runs."""
        self._keeper.end()
        self._engine.set_taking(False)

    def close(self) -> None:
        """End whatever runs, because the program ends."""
        self._keeper.close()

    @property
    def current(self) -> TakeView | None:
        """The take that runs."""
        return self._keeper.current

    @property
    def revision(self) -> int:
        """Changes whenever the list of takes should be read again."""
        return self._keeper.revision

    def choose_part(self, key: str) -> None:
        """Have the live coach judge by this part from now on."""
        self._key = key
        self._judge()

    def choose_channel_parts(self, own: Mapping[int, str]) -> None:
        """Have these channels (column indices, from 0) judged by parts of their own; an empty key is none."""
        known = {channel: key for channel, key in own.items() if key in self._parts}
        if known != self._own:
            self._own = known
            self._judge()

    def choose_channel_ceilings(self, own_dbfs: Mapping[int, float]) -> None:
        """Have the peaks of these channels (column indices, from 0) stay under ceilings of their own."""
        usual = self._targets.default
        own = {channel: usual.under(ceiling_dbfs) for channel, ceiling_dbfs in own_dbfs.items()}
        if own != self._targets.own:
            self._targets = Targets(usual, own)
            self._judge()

    def target_of(self, channel: int) -> Target:
        """Where a channel (column index, from 0) should sit."""
        return self._targets.of(channel)

    def _judge(self) -> None:
        self._engine.set_coach(live_coach(self._seated(self._profile(self._key)), self._targets))

    def _seated(self, profile: PartProfile) -> Parts:
        return Parts(profile, {channel: self._parts[key] for channel, key in self._own.items()})

    def _profile(self, key: str) -> PartProfile:
        return self._parts.get(key, self._parts["other"])
