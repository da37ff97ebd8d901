"""What the view from afar and the strip show: one verdict, one number, the headroom, and clips until seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

from app.coach.judgement import SILENT, Judgement, Reason, Verdict
from app.engine.snapshot import Snapshot
from app.words import advice
from app.words import card as card_words
from app.words import glance as words

UNSETTLED = (Reason.LISTENING, *SILENT)


class ClipWatch:
    """Counts clips of all channels until somebody says that they were seen.

    A count that falls, because the input is another or the evidence was let go, takes nothing back: what
    was not seen stays unseen.
    """

    def __init__(self) -> None:
        self.unseen = 0
        """Clips since they were last seen."""
        self._known = 0

    def look(self, snapshot: Snapshot) -> None:
        """Take over the counts of now."""
        count = sum(snapshot.clips)
        self.unseen += max(0, count - self._known)
        self._known = count

    def seen(self) -> None:
        """Somebody has seen them."""
        self.unseen = 0


@dataclass(frozen=True, slots=True)
class Glance:
    """One look, in words."""

    verdict: Verdict | None
    """None while there is none, or only an old one."""
    word: str
    change: str
    headroom: str
    clips: str
    """Empty when none are unseen."""
    take: str
    """The take that runs, or that none does."""
    runs: bool
    """Whether a take runs."""

    @property
    def spoken(self) -> str:
        """For a screen reader."""
        return words.spoken(self.word, self.change, self.headroom, self.clips)


def glance_at(
    snapshot: Snapshot,
    channel: int,
    judgement: Judgement | None,
    *,
    old: bool,
    unseen_clips: int,
    take_s: float | None,
) -> Glance:
    """Look at one channel of a snapshot.

    Parameters
    ----------
    channel
        Column index from 0.
    old
        The readings are not of now: nothing is shown of them but clips, which stay.
    take_s
        How long the take has run; None when none does.
    """
    fresh = judgement if not old else None
    headroom = snapshot.headroom_db
    headroom_db = headroom[channel] if channel < len(headroom) and not old else math.nan
    if fresh is None:
        word = card_words.old_reading() if old and judgement is not None else card_words.no_verdict()
        change = ""
    else:
        word = advice.verdict_name(fresh.verdict.value)
        change = words.change(
            fresh.gain_change_db, waits_for=fresh.reason.value if fresh.reason in UNSETTLED else ""
        )
    return Glance(
        verdict=fresh.verdict if fresh is not None else None,
        word=word,
        change=change,
        headroom=words.headroom(headroom_db),
        clips=words.unseen_clips(unseen_clips),
        take=words.take_runs(take_s) if take_s is not None else words.no_take(),
        runs=take_s is not None,
    )
