"""What our own reading makes of whole numbers is what libsndfile makes of them, to the last bit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from app.inputs import packed
from app.inputs.files import FileSource

KINDS = [
    ("WAV", "PCM_16", "FILE"),
    ("WAV", "PCM_24", "FILE"),
    ("WAV", "PCM_24", "LITTLE"),
    ("WAV", "PCM_24", "BIG"),
    ("WAV", "PCM_16", "BIG"),
    ("WAVEX", "PCM_24", "FILE"),
    ("RF64", "PCM_24", "FILE"),
    ("RF64", "PCM_16", "FILE"),
    ("WAV", "PCM_32", "FILE"),
    ("AIFF", "PCM_24", "FILE"),
    ("FLAC", "PCM_24", "FILE"),
]


def write(path: Path, kind: tuple[str, str, str], channels: int, frames: int = 5003) -> Path:
    """Every byte differs, and both extremes occur."""
    numbers = np.random.default_rng(channels).integers(-(2**31), 2**31, (frames, channels), np.int64)
    numbers[0], numbers[1], numbers[2] = -(2**31), 2**31 - 1, 0
    container, coding, endian = kind
    soundfile.write(path, numbers.astype(np.int32), 48_000, coding, endian, container)
    return path


def read(path: Path, max_frames: int) -> np.ndarray:
    source = FileSource(path, paced=False)
    source.start()
    parts = []
    while not parts or parts[-1].shape[0] == max_frames:
        parts.append(source.read(max_frames, 0.0).samples)
    source.close()
    return np.concatenate(parts)


@pytest.mark.parametrize("channels", [1, 2, 3])
@pytest.mark.parametrize("kind", KINDS, ids="-".join)
def test_samples_are_those_of_libsndfile(tmp_path, kind, channels):
    path = write(tmp_path / "take", kind, channels)
    expected, _ = soundfile.read(path, dtype="float32", always_2d=True)
    for max_frames in (5003, 1000, 7):
        got = read(path, max_frames)
        assert got.dtype == np.float32
        np.testing.assert_array_equal(got, expected)


@pytest.mark.parametrize("coding", ["PCM_16", "PCM_24"])
def test_each_channel_lies_in_one_stretch(tmp_path, coding):
    source = FileSource(write(tmp_path / "take.wav", ("WAV", coding, "FILE"), 3), paced=False)
    source.start()
    assert source.read(1000, 0.0).samples.flags.f_contiguous
    source.close()


@pytest.mark.parametrize("lost_bytes", [1, 5, 6, 7, 3000])
def test_a_file_cut_short_gives_what_is_there(tmp_path, lost_bytes):
    path = write(tmp_path / "take.wav", ("WAV", "PCM_24", "FILE"), 2)
    path.write_bytes(path.read_bytes()[:-lost_bytes])
    expected, _ = soundfile.read(path, dtype="float32", always_2d=True)
    assert 4000 < expected.shape[0] < 5003
    np.testing.assert_array_equal(read(path, 999), expected)


def test_what_follows_the_samples_is_not_taken_for_sound(tmp_path):
    path = write(tmp_path / "take.wav", ("WAV", "PCM_24", "FILE"), 1, frames=5004)
    path.write_bytes(path.read_bytes() + b"note\x08\0\0\0a remark")
    assert read(path, 1000).shape == (5004, 1)


def test_without_that_function_libsndfile_decodes(tmp_path, monkeypatch):
    path = write(tmp_path / "take.wav", ("WAV", "PCM_24", "FILE"), 2)
    expected = read(path, 1000)
    monkeypatch.setattr(soundfile, "_ffi", object())

    class File:
        """As much of a ``soundfile.SoundFile`` as is asked."""

        format, subtype, endian, channels = "WAV", "PCM_24", "FILE", 2

        def read(self, frames: int, dtype: str, always_2d: bool) -> np.ndarray:
            assert (dtype, always_2d) == ("float32", True)
            return expected[:frames]

    np.testing.assert_array_equal(packed.read_samples(File(), 1000), expected[:1000])
