"""The built-in player is never said to be cut off, wherever its knob stands."""

from __future__ import annotations

import numpy as np
import pytest

from app.inputs.player import PARTS, PlayerSource
from dsp.flattops import FlatTopFinder

RATE_HZ = 48_000
GAINS_DB = (0.0, -6.0, -2.6, -1.3, 1.1, 2.4)


@pytest.mark.parametrize(("part", "minutes"), [(part, 10 if part == "bass" else 3) for part in PARTS])
def test_part_is_not_accused_at_any_gain(part, minutes):
    # The bass repeats its notes more than any other part. Played once, and looked at as if the knob stood
    # elsewhere.
    player = PlayerSource(part, paced=False)
    player.start()
    finders: list[FlatTopFinder] = []
    for second in range(60 * minutes):
        blocks = [player.read(RATE_HZ, 1.0).samples]
        while sum(block.shape[0] for block in blocks) < RATE_HZ:
            blocks.append(player.read(RATE_HZ - sum(block.shape[0] for block in blocks), 1.0).samples)
        sound = np.concatenate(blocks)
        finders = finders or [FlatTopFinder(RATE_HZ, sound.shape[1], RATE_HZ // 100) for _ in GAINS_DB]
        for finder, gain_db in zip(finders, GAINS_DB, strict=True):
            assert finder.process(sound * np.float32(10 ** (gain_db / 20)), second * RATE_HZ) == ()
    assert all(finder.flush() == () for finder in finders)
