"""Which channel is shown: the one that was chosen, or by itself the one that needs attention first."""

from __future__ import annotations

from app.engine.snapshot import Snapshot

_SETTLE_S = 1.5
"""How long another channel must be the worst before the chart turns to it by itself."""


class Following:
    """Decides with every look."""

    def __init__(self) -> None:
        self.chosen = -1
        """Column index from 0 that the user chose; -1 = follow."""
        self.channel = 0
        """The column that is shown."""
        self._worst_since: tuple[int, float] = (0, 0.0)

    @property
    def follows(self) -> bool:
        """Whether it follows by itself."""
        return self.chosen < 0

    def look(self, snapshot: Snapshot, now_s: float, guided: int | None) -> None:
        """Decide which column is shown from now on; ``guided`` is the one that a session is about."""
        count = len(snapshot.average_dbfs)
        if guided is not None and guided < count:
            self.channel = guided
        elif not self.follows:
            self.channel = min(self.chosen, max(0, count - 1))
        else:
            worst = snapshot.coach.worst_channel if snapshot.coach is not None else 0
            if worst != self._worst_since[0]:
                self._worst_since = (worst, now_s)
            if self.channel >= count or now_s - self._worst_since[1] > _SETTLE_S:
                self.channel = worst
