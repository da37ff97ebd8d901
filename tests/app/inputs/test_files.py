"""FileSource: what is in the file arrives, and nothing a file claims is believed unchecked."""

from __future__ import annotations

import os
import struct
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from app.errors import SoundFileError
from app.inputs.files import FileSource


def ramp(frames: int, channels: int = 1) -> np.ndarray:
    """Each sample tells its own place: exact in float32 up to 2**23 frames."""
    steps = np.arange(frames * channels, dtype=np.float32).reshape(frames, channels)
    return steps / np.float32(2**23)


@pytest.fixture
def wav(tmp_path: Path):
    def write(samples: np.ndarray, name: str = "take.wav", rate_hz: int = 48_000, **how: str) -> Path:
        path = tmp_path / name
        soundfile.write(path, samples, rate_hz, **({"subtype": "FLOAT"} | how))
        return path

    return write


def read_all(source: FileSource, max_frames: int = 4096) -> np.ndarray:
    parts = []
    while True:
        block = source.read(max_frames, 1.0)
        parts.append(block.samples)
        if block.ended:
            return np.concatenate(parts)


def test_unpaced_file_arrives_bit_exact_and_ends(wav):
    samples = ramp(10_000, 3)
    source = FileSource(wav(samples, rate_hz=44_100), paced=False)
    source.start()
    got = read_all(source)
    assert got.dtype == np.float32
    np.testing.assert_array_equal(got, samples)
    assert source.read(100, 0.0).ended
    assert (source.info.rate_hz, source.info.channels, source.info.live) == (44_100, 3, False)
    assert source.format == "WAV/FLOAT"
    assert source.claimed_frames == 10_000
    assert source.stats().delivered_frames == 10_000
    assert source.stats().lost_frames == 0
    source.close()


@settings(max_examples=25, deadline=None)
@given(sizes=st.lists(st.integers(1, 5000), min_size=1, max_size=6))
def test_any_block_sizes_give_the_same_samples(tmp_path_factory, sizes):
    samples = ramp(7_001, 2)
    path = tmp_path_factory.mktemp("sizes") / "take.wav"
    soundfile.write(path, samples, 48_000, subtype="FLOAT")
    source = FileSource(path, paced=False)
    source.start()
    parts, ended, turn = [], False, 0
    while not ended:
        block = source.read(sizes[turn % len(sizes)], 0.0)
        turn += 1
        ended = block.ended
        parts.append(block.samples)
    source.close()
    np.testing.assert_array_equal(np.concatenate(parts), samples)


def test_whole_numbers_keep_the_full_scale_of_the_converter(wav):
    codes = np.array([-32768, -1, 0, 1, 32767], np.int16)
    source = FileSource(wav(codes, subtype="PCM_16"), paced=False)
    source.start()
    np.testing.assert_array_equal(read_all(source)[:, 0], codes.astype(np.float32) / 32768)
    source.close()


def test_nan_infinity_and_overs_pass_through(wav):
    odd = np.array([np.nan, np.inf, -np.inf, 3.5, -7.25, 1e-42], np.float32)
    source = FileSource(wav(odd), paced=False)
    source.start()
    np.testing.assert_array_equal(read_all(source)[:, 0], odd)
    source.close()


@pytest.mark.parametrize(
    ("name", "subtype"),
    [("a.flac", "PCM_24"), ("a.aiff", "PCM_24"), ("a.ogg", "VORBIS"), ("a.mp3", "MPEG_LAYER_III")],
)
def test_other_formats_open(wav, name, subtype):
    tone = 0.5 * np.sin(2 * np.pi * 997 / 48_000 * np.arange(48_000)).astype(np.float32)
    source = FileSource(wav(tone, name, subtype=subtype), paced=False)
    source.start()
    got = read_all(source, 441)
    rms = float(np.sqrt(np.mean(np.square(got.astype(float)))))
    assert rms == pytest.approx(0.5 / np.sqrt(2), rel=0.03)
    source.close()
    at_once, _ = soundfile.read(source.info.spec.removeprefix("file:"), dtype="float32", always_2d=True)
    np.testing.assert_array_equal(got, at_once)  # an MP3 read in blocks must not have holes


class Clock:
    """A clock that a test turns by hand."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def test_paced_file_arrives_by_the_clock(wav):
    source = FileSource(wav(ramp(24_000), rate_hz=48_000), paced=True)
    began = time.monotonic()
    source.start()
    assert source.info.live
    assert source.read(48_000, 0.0).samples.shape[0] < 2_400
    block_sizes = []
    while True:
        block = source.read(480, 1.0)
        block_sizes.append(block.samples.shape[0])
        if block.ended:
            break
    assert time.monotonic() - began >= 0.499
    assert set(block_sizes[:-1]) == {480}
    source.close()


def test_a_paced_reader_that_comes_late_catches_up_and_loses_nothing(wav):
    samples = ramp(9_600)
    source = FileSource(wav(samples), paced=True)
    source.start()
    threading.Event().wait(0.21)  # a reader that is busy elsewhere: time itself is the condition
    block = source.read(9_600, 0.0)
    np.testing.assert_array_equal(block.samples, samples)
    source.close()


def test_close_from_another_thread_wakes_the_reader(wav):
    source = FileSource(wav(ramp(48_000)), paced=True)
    source.start()
    timer = threading.Timer(0.05, source.close)
    timer.start()
    began = time.monotonic()
    block = source.read(48_000, 30.0)
    assert time.monotonic() - began < 5
    assert block.ended
    timer.join()
    source.close()


def test_it_can_be_started_again_from_the_top(wav):
    samples = ramp(1_000)
    source = FileSource(wav(samples), paced=False)
    for _ in range(3):
        source.start()
        np.testing.assert_array_equal(read_all(source), samples)
        source.close()


def refusal(path: Path | str) -> str:
    source = FileSource(path, paced=False)
    with pytest.raises(SoundFileError) as caught:
        source.start()
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert str(path) in sentence
    return sentence


def test_missing_folder_empty_and_text(tmp_path):
    assert "no such file" in refusal(tmp_path / "nothing.wav")
    assert "folder" in refusal(tmp_path)
    empty = tmp_path / "empty.wav"
    empty.touch()
    assert "empty" in refusal(empty)
    text = tmp_path / "shopping.wav"
    text.write_text("strings, picks, tea")
    assert "not a sound file" in refusal(text)
    bare = tmp_path / "bare.raw"
    bare.write_bytes(bytes(1000))
    assert "rate" in refusal(bare)


def test_null_character_in_the_name(tmp_path):
    with pytest.raises(SoundFileError, match="no such file"):
        FileSource(str(tmp_path) + "/a\0b.wav", paced=False).start()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_instead_of_waiting_for_its_writer(tmp_path):
    pipe = tmp_path / "pipe.wav"
    os.mkfifo(pipe)
    assert "not a plain file" in refusal(pipe)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything"
)
def test_forbidden(wav):
    path = wav(ramp(10))
    path.chmod(0)
    assert "permission" in refusal(path)


def test_header_without_samples(wav):
    assert "no samples" in refusal(wav(np.empty((0, 1), np.float32)))


def forged_header(
    channels: int = 1, rate_hz: int = 48_000, data_bytes: int = 8, real_bytes: int = 8
) -> bytes:
    """A WAV header that claims what it is told to claim."""
    block_align = channels * 2
    return (
        b"RIFF" + struct.pack("<I", 0xFFFFFFFF & (36 + data_bytes)) + b"WAVEfmt "
        + struct.pack("<IHHIIHH", 16, 1, channels, rate_hz, 0xFFFFFFFF & (rate_hz * block_align),
                      block_align & 0xFFFF, 16)
        + b"data" + struct.pack("<I", data_bytes) + bytes(real_bytes)
    )  # fmt: skip


@pytest.mark.parametrize("channels", [33, 1000, 1024])
def test_more_channels_than_32_are_refused(tmp_path, channels):
    path = tmp_path / "many.wav"
    path.write_bytes(forged_header(channels, data_bytes=channels * 2 * 4, real_bytes=channels * 2 * 4))
    sentence = refusal(path)
    assert f"{channels} channels" in sentence
    assert "32" in sentence


@pytest.mark.parametrize("rate_hz", [1, 999, 2_000_000_000])
def test_rates_that_no_sound_has_are_refused(tmp_path, rate_hz):
    path = tmp_path / "rate.wav"
    path.write_bytes(forged_header(rate_hz=rate_hz))
    assert str(rate_hz) in refusal(path)


def test_a_header_that_claims_four_gigabytes_gives_what_is_there(tmp_path):
    path = tmp_path / "claims.wav"
    path.write_bytes(forged_header(data_bytes=0xFFFFFFF0, real_bytes=2_000))
    source = FileSource(path, paced=False)
    source.start()
    assert read_all(source).shape == (1_000, 1)
    source.close()


def test_cut_off_flac_ends_or_says_where(wav):
    noise = np.random.default_rng(440).uniform(-0.5, 0.5, 96_000).astype(np.float32)
    path = wav(noise, "cut.flac", subtype="PCM_16")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    source = FileSource(path, paced=False)
    source.start()
    got = 0
    try:
        while not (block := source.read(4096, 0.0)).ended:
            got += block.samples.shape[0]
    except SoundFileError as error:
        assert f"{path}: the file is damaged somewhere after 0:0" in str(error)  # noqa: PT017 -- both endings are right
    assert 0 < got < 96_000
    source.close()


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_flipped_bytes_are_measured_or_refused(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("fuzz")
    path = folder / "flipped.flac"
    soundfile.write(path, ramp(4_000, 2), 48_000, subtype="PCM_24")
    content = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 12))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    source = FileSource(path, paced=False)
    try:
        source.start()
        for _ in range(100):
            if source.read(4096, 0.0).ended:
                break
    except SoundFileError as error:
        assert str(path) in str(error)  # noqa: PT017 -- a file may also survive the flip
    finally:
        source.close()
