"""The built-in player: the source protocol, the knob, the clock."""

from __future__ import annotations

import numpy as np
import pytest

from app.errors import UsageError
from app.inputs.player import PARTS, PlayerSource


def _samples(player: PlayerSource, frames: int, block: int = 4800) -> np.ndarray:
    pieces = []
    while frames:
        got = player.read(min(block, frames), 1.0).samples
        pieces.append(got)
        frames -= got.shape[0]
    return np.concatenate(pieces)


@pytest.mark.parametrize("part", PARTS)
def test_samples_do_not_depend_on_how_they_are_read(part: str) -> None:
    frames = 48_000 * 8
    one, other = PlayerSource(part, paced=False), PlayerSource(part, paced=False)
    one.start()
    other.start()
    sizes = np.random.default_rng(3).integers(1, 9_000, 400)
    pieces = []
    for size in sizes:
        pieces.append(other.read(int(size), 0.0).samples)
        if sum(piece.shape[0] for piece in pieces) >= frames:
            break
    np.testing.assert_array_equal(np.concatenate(pieces)[:frames], one.read(frames, 0.0).samples)


def test_an_unknown_part_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(UsageError, match="bass"):
        PlayerSource("whistle")
