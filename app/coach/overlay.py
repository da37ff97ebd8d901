"""A part laid over a backing: where it plays, and how much of it can be heard."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from dsp.audibility import HEARD_SHARE, Hearing
from dsp.erb import BAND_CENTRES_HZ
from dsp.excitation import BANDS, CELLS_PER_S
from dsp.track import Track
from dsp.types import Floats

HEARD_TIME = 0.9
"""Share of its playing time in which a part should be heard, in all and where the backing is fullest."""

_MOMENT = 4
"""Cells in a moment: 0.2 s, over which the ear gathers loudness, and about the shortest note."""
_PLAYING = 0.5
"""A moment counts as playing when it is at least half as loud, in sones, as the part usually is: about the
10 LU of the relative gate of BS.1770."""
_FULLEST = 0.25
"""Share of the playing time that is called fullest."""
_STEP_S = 1.0
_LATE_S = 3.0

RANGES_HZ: tuple[tuple[int, int], ...] = ((20, 120), (120, 400), (400, 1500), (1500, 5000), (5000, 20000))
"""Ranges of pitch in which audibility is told apart."""
_RANGE_MATTERS = 0.1
"""A range counts in a moment when it holds at least this share of the part's loudness."""

_RANGE_OF_BAND = np.searchsorted([high for _, high in RANGES_HZ], BAND_CENTRES_HZ, side="right")
_RANGE_OF_BAND.setflags(write=False)

_Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Heard:
    """How much of the part is heard, as shares of its playing time."""

    all_of_it: float
    fullest: float
    """Where the backing is fullest."""
    margin: float
    """Share of its own loudness that the part keeps for :data:`HEARD_TIME` of the time, at its worst, less
    what it needs: 0 or more exactly where both shares reach :data:`HEARD_TIME`."""

    @property
    def enough(self) -> bool:
        """Whether the part can be heard."""
        return self.margin >= 0.0


class Overlay:
    """Lays a part over the files of a backing and answers how well it is heard when they are turned down.

    The files begin together. A part that covers less than the song is laid over its fullest passage too: what
    was played for a minute stands for all of it. What comes after the end of the backing does not count.

    Parameters
    ----------
    part
        A part that is not silent.
    backing
        One track or more.
    part_starts_s
        Where in the backing the part begins.
    hearing
        Constants of the bands of :mod:`dsp.excitation`.
    """

    def __init__(
        self,
        part: Track,
        backing: Sequence[Track],
        part_starts_s: float = 0.0,
        hearing: Hearing | None = None,
    ) -> None:
        self._hearing = hearing or Hearing.of()
        length = max(track.excitation.shape[0] for track in backing)
        stems = np.zeros((len(backing), length, BANDS), np.float32)
        for stem, track in zip(stems, backing, strict=True):
            stem[: track.excitation.shape[0]] = track.excitation
        fullness = self._hearing.loudness(stems.sum(axis=0)).sum(axis=1)
        target, places = _lay(part.excitation, fullness, round(part_starts_s * CELLS_PER_S))
        self._t_s = _moments(places[:, np.newaxis].astype(np.float64))[:, 0, 0] / CELLS_PER_S
        self._target = _moments(target)
        self._stems = np.stack([_moments(stem[places]) for stem in stems])
        self._whole = stems
        self._alone = self._hearing.loudness(self._target).sum(axis=1)
        self._playing_at(_moments(fullness[places][:, np.newaxis]).sum(axis=(1, 2)))

    def _playing_at(self, fullness: Floats) -> None:
        """Keep the moments in which the part plays, and note where the backing is fullest."""
        loudness = self._alone.sum(axis=1)
        # Weighted by itself, so that rests do not matter.
        usual = np.square(loudness).sum() / loudness.sum() if loudness.any() else 0.0
        kept = (loudness >= _PLAYING * usual) & (loudness > 0.0)
        self._take(kept)
        fullness = fullness[kept]
        count = max(1, round(fullness.size * _FULLEST))
        self._fullest = np.zeros(fullness.size, np.bool_)
        self._fullest[np.argsort(-fullness, kind="stable")[:count]] = True

    def _take(self, chosen: npt.NDArray[Any]) -> None:
        self._t_s, self._alone = self._t_s[chosen], self._alone[chosen]
        self._target, self._stems = self._target[chosen], self._stems[:, chosen]

    @property
    def playing_s(self) -> float:
        """How long the part plays over the backing; 0 where it never does."""
        return float(self._target.shape[0] * _MOMENT / CELLS_PER_S)

    def thinned(self, most_moments: int) -> Overlay:
        """The same with no more than so many moments, evenly taken from all and from the fullest."""
        count = self._target.shape[0]
        if count <= most_moments:
            return self
        order = np.argsort(~self._fullest, kind="stable")
        chosen = np.sort(order[np.linspace(0, count - 1, most_moments).astype(np.intp)])
        few = copy(self)
        few._take(chosen)
        few._fullest = self._fullest[chosen]
        return few

    @property
    def t_s(self) -> Floats:
        """(moments,): where in the backing each moment of playing begins. A moment lasts 0.2 s."""
        return self._t_s

    def left(self, pull_down_db: Sequence[float]) -> Floats:
        """(moments,): the share of the part's own loudness that is left, 0 to 1."""
        return np.asarray(self._left(pull_down_db).sum(axis=1) / self._alone.sum(axis=1))

    def anywhere(self, pull_down_db: Sequence[float]) -> tuple[Floats, Floats]:
        """How the part would fare all over the song, when nobody knows to which place of it the part belongs.

        Returns
        -------
        t_s
            (moments,): where in the backing each moment begins.
        left
            (moments,): what is left there of the part's usual sound, the mean of its playing, 0 to 1.
        """
        song = np.stack([_moments(stem) for stem in self._whole])
        t_s = np.arange(song.shape[1]) * _MOMENT / CELLS_PER_S
        if not self._target.size:
            return np.empty(0), np.empty(0)
        usual = self._target.mean(axis=(0, 1))
        gains = 10.0 ** (-np.asarray(pull_down_db, np.float64) / 10.0)
        masker = np.tensordot(gains, song, axes=1)
        left = self._hearing.partial_loudness(np.broadcast_to(usual, masker.shape), masker)
        alone = _MOMENT * self._hearing.loudness(usual).sum()
        return np.asarray(t_s, np.float64), np.asarray(left.sum(axis=(1, 2)) / alone)

    def heard(self, pull_down_db: Sequence[float]) -> Heard:
        """How much is heard when each file is turned down by so much (``inf`` leaves it out)."""
        if not self._alone.size:
            return Heard(1.0, 1.0, 1.0 - HEARD_SHARE)
        left = self.left(pull_down_db)
        enough = left >= HEARD_SHARE
        fullest = left[self._fullest]
        return Heard(
            float(enough.mean()),
            float(enough[self._fullest].mean()),
            min(_kept(left), _kept(fullest)) - HEARD_SHARE,
        )

    def heard_by_range(self, pull_down_db: Sequence[float]) -> tuple[float | None, ...]:
        """Per range of pitch, the share of the time in which it matters that it is heard; None if never."""
        alone, left = self._alone, self._left(pull_down_db)
        total = alone.sum(axis=1)
        found: list[float | None] = []
        for number in range(len(RANGES_HZ)):
            bands = number == _RANGE_OF_BAND
            own = alone[:, bands].sum(axis=1)
            matters = own >= _RANGE_MATTERS * total
            heard = left[matters][:, bands].sum(axis=1) >= HEARD_SHARE * own[matters]
            found.append(float(heard.mean()) if heard.size else None)
        return tuple(found)

    def in_the_way(self) -> Floats:
        """(files, ranges): the share of the part's lost loudness that each file takes in each range.

        What is lost in a band is blamed on the files by their power there. The sum is 1, or 0 for no loss.
        """
        lost = self._alone - self._left((0.0,) * self._stems.shape[0])
        power = self._stems.sum(axis=2, dtype=np.float64)
        total = power.sum(axis=0)
        shares = np.divide(power, total, out=np.zeros_like(power), where=total > 0.0)
        per_band = (shares * np.maximum(lost, 0.0)).sum(axis=1)
        blame = np.stack(
            [per_band[:, number == _RANGE_OF_BAND].sum(axis=1) for number in range(len(RANGES_HZ))], 1
        )
        whole = blame.sum()
        return blame / whole if whole > 0.0 else blame

    def _left(self, pull_down_db: Sequence[float]) -> Floats:
        """(moments, bands): loudness of the part that is left."""
        gains = 10.0 ** (-np.asarray(pull_down_db, np.float64) / 10.0)
        masker = np.tensordot(gains, self._stems, axes=1)
        return np.asarray(self._hearing.partial_loudness(self._target, masker).sum(axis=1))


def _lay(
    part: npt.NDArray[np.float32], fullness: Floats, start: int
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.intp]]:
    """Cells of the part, and the cells of the backing that they fall on."""
    together = max(0, min(part.shape[0], fullness.size - start))
    as_played = np.arange(start, start + together)
    longest = min(part.shape[0], fullness.size)
    if fullness.size - together <= _LATE_S * CELLS_PER_S:
        return part[:together], as_played
    sums = np.concatenate(((0.0,), np.cumsum(fullness)))
    starts = np.arange(0, fullness.size - longest + 1, round(_STEP_S * CELLS_PER_S))
    fullest = starts[np.argmax(sums[starts + longest] - sums[starts])]
    if fullest == start:
        return part[:together], as_played
    # Moments do not run from one laying into the other.
    whole = together // _MOMENT * _MOMENT
    places = np.concatenate((as_played[:whole], np.arange(fullest, fullest + longest)))
    return np.concatenate((part[:whole], part[:longest])), places


def _moments(cells: npt.NDArray[np.floating]) -> Floats:
    """(moments, cells in one, …): whole moments only."""
    count = cells.shape[0] // _MOMENT
    return np.asarray(cells[: count * _MOMENT].reshape(count, _MOMENT, -1), np.float64)


def _kept(left: Floats) -> float:
    """The share of its loudness that a part keeps for :data:`HEARD_TIME` of the time."""
    rank = int((1.0 - HEARD_TIME) * left.size + 1e-9)
    return float(np.partition(left, rank)[rank])
