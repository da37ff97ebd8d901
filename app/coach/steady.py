"""What keeps a verdict still while somebody reads it: a change must last, and clipping shows at once."""

from __future__ import annotations

import math

from app.coach.advice import Opinion
from app.coach.judgement import SILENT, Reason, Verdict

_NUMBER_BAND_DB = 1.0
_VERDICT_HOLD_TICKS = 10
_NUMBER_HOLD_TICKS = 20


class Steady:
    """What is shown: changes only when the opinion has differed for a while."""

    def __init__(self) -> None:
        self.show(Opinion(Verdict.SLACK, Reason.NOTHING_HEARD, 0.0))

    def show(self, opinion: Opinion) -> None:
        """Take over an opinion as it is."""
        self.verdict = opinion.verdict
        self.reason = opinion.reason
        self.values = opinion.values
        self.gain_change_db = whole_decibels(opinion)
        self._other_verdict_ticks = 0
        self._other_number_ticks = 0

    def consider(self, opinion: Opinion) -> None:
        """Hear the opinion of one tick."""
        if opinion.verdict is not self.verdict:
            self._other_verdict_ticks += 1
            at_once = opinion.verdict is Verdict.AWASH or self.reason in SILENT
            if at_once or self._other_verdict_ticks >= _VERDICT_HOLD_TICKS:
                self.show(opinion)
            return
        self._other_verdict_ticks = 0
        if self.reason is Reason.LISTENING and opinion.reason is Reason.LISTENING:
            self.values = opinion.values
            return
        drifted = abs(_wanted_db(opinion) - self.gain_change_db) > _NUMBER_BAND_DB
        if self.reason is opinion.reason and not drifted:
            self._other_number_ticks = 0
            return
        self._other_number_ticks += 1
        if self.reason is Reason.LISTENING or self._other_number_ticks >= _NUMBER_HOLD_TICKS:
            self.show(opinion)


def _wanted_db(opinion: Opinion) -> float:
    """The wish, where the verdict lets one be made, and in its direction."""
    if opinion.reason is Reason.LISTENING:
        return 0.0
    if opinion.verdict is Verdict.LOW_WATER:
        return max(1.0, opinion.wanted_db)
    if opinion.verdict in (Verdict.HIGH_WATER, Verdict.AWASH):
        return min(-1.0, opinion.wanted_db)
    return 0.0


def whole_decibels(opinion: Opinion) -> int:
    """The change to show for an opinion: whole, 0 where the knob should be left alone."""
    # Half a decibel rounds down: the lower gain is the safer one.
    return math.ceil(_wanted_db(opinion) - 0.5)
