"""The private sound server itself: what is played is what is recorded, bit for bit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.live

RECORD = """
import sys, time
import numpy as np, sounddevice as sd
recorded = sd.rec(3 * 48_000, samplerate=48_000, channels=2, dtype="float32", device="pulse", blocking=True)
np.save(sys.argv[1], recorded)
"""


def test_what_is_played_is_what_is_recorded(sound_server, tmp_path: Path):
    noise = np.random.default_rng(440).uniform(-1.5, 1.5, (24_000, 2)).astype(np.float32)
    recorder = sound_server.start("-c", RECORD, str(tmp_path / "recorded.npy"))
    sound_server.wait_for_recorder()
    sound_server.play_samples(noise)
    _, errors = recorder.communicate(timeout=30)
    assert recorder.returncode == 0, errors
    recorded = np.load(tmp_path / "recorded.npy")
    start = int(np.flatnonzero(recorded[:, 0])[0])
    np.testing.assert_array_equal(recorded[start : start + 24_000], noise)
