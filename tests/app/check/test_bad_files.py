"""Every kind of file is measured, or refused in one line that names it: none breaks the program."""

from __future__ import annotations

import functools
import io
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.check.document import document
from app.check.folder import sound_files
from app.check.measure import FileCheck, check_file
from app.coach.judgement import Verdict
from app.coach.parts import find_part
from app.errors import SoundFileError

RATE_HZ = 44_100
LEVEL_DBFS = -12.0


def tone(rate_hz: int = RATE_HZ, channels: int = 1, seconds: float = 0.5) -> np.ndarray:
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    one = 10 ** (LEVEL_DBFS / 20) * np.sin(2 * np.pi * 997 * t)
    return np.repeat(one[:, np.newaxis], channels, axis=1)


def measure(path: Path) -> FileCheck:
    check = check_file(path, find_part("other"))
    assert document([check])["files"][0]["path"] == str(path)
    return check


def refusal(path: Path) -> str:
    with pytest.raises(SoundFileError) as caught:
        check_file(path, find_part("other"))
    return sentence_on(path, caught.value)


def sentence_on(path: Path, error: SoundFileError) -> str:
    assert str(path) in error.sentence
    assert "\n" not in error.sentence
    return error.sentence


def measured_or_refused(path: Path) -> FileCheck | None:
    """Measure a file of which nothing is known, and see that a refusal is one good sentence."""
    try:
        return measure(path)
    except SoundFileError as error:
        sentence_on(path, error)
        return None


@pytest.mark.parametrize(
    ("container", "coding", "within_db"),
    [
        ("WAV", "PCM_U8", 0.3),
        ("WAV", "PCM_16", 0.01),
        ("WAV", "PCM_24", 0.01),
        ("WAV", "PCM_32", 0.01),
        ("WAV", "FLOAT", 0.01),
        ("WAV", "DOUBLE", 0.01),
        ("WAV", "ULAW", 0.3),
        ("WAV", "ALAW", 0.3),
        ("WAV", "IMA_ADPCM", 0.5),
        ("WAVEX", "PCM_24", 0.01),
        ("RF64", "PCM_24", 0.01),
        ("W64", "PCM_24", 0.01),
        ("CAF", "PCM_24", 0.01),
        ("AIFF", "PCM_S8", 0.3),
        ("AIFF", "PCM_24", 0.01),
        ("AU", "PCM_16", 0.01),
        ("FLAC", "PCM_24", 0.01),
        ("OGG", "VORBIS", 0.5),
        ("MP3", "MPEG_LAYER_III", 0.5),
    ],
)
def test_every_common_format_is_measured(tmp_path, container, coding, within_db):
    path = tmp_path / "take"
    soundfile.write(path, tone(), RATE_HZ, format=container, subtype=coding)
    check = measure(path)
    assert check.format == f"{container}/{coding}"
    assert check.duration_s == pytest.approx(0.5, abs=0.06)  # MP3 and ADPCM pad to whole blocks
    assert check.summary.peak_dbfs[0] == pytest.approx(LEVEL_DBFS, abs=within_db)
    assert check.summary.rms_dbfs[0] == pytest.approx(LEVEL_DBFS, abs=within_db + 0.5)


@pytest.mark.parametrize("channels", [1, 32])
def test_up_to_32_channels(tmp_path, channels):
    path = tmp_path / "many.wav"
    soundfile.write(path, tone(channels=channels), RATE_HZ)
    assert len(measure(path).channels) == channels


def test_33_channels_are_refused(tmp_path):
    path = tmp_path / "more.wav"
    soundfile.write(path, tone(channels=33), RATE_HZ)
    assert "33 channels" in refusal(path)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 384_000])
def test_rates_that_are_measured(tmp_path, rate_hz):
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(rate_hz), rate_hz)
    assert measure(path).summary.peak_dbfs[0] == pytest.approx(LEVEL_DBFS, abs=0.2)


@pytest.mark.parametrize("rate_hz", [1, 7_999, 768_000, 2**31 - 1])
def test_rates_that_are_refused(tmp_path, rate_hz):
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(), rate_hz)
    assert f"{rate_hz} Hz" in refusal(path)


def test_a_file_that_is_none(tmp_path):
    empty = tmp_path / "empty.wav"
    empty.touch()
    assert "empty" in refusal(empty)
    text = tmp_path / "text.wav"
    text.write_text("verse, chorus, verse\n")
    assert "not a sound file" in refusal(text)
    assert "folder" in refusal(tmp_path)
    bare = tmp_path / "bare.raw"
    bare.write_bytes(bytes(1000))
    assert "header" in refusal(bare)
    assert "no such file" in refusal(tmp_path / "missing.wav")


@pytest.mark.parametrize(("container", "coding"), [("WAV", "PCM_16"), ("FLAC", "PCM_16"), ("AIFF", "PCM_16")])
def test_a_header_without_samples(tmp_path, container, coding):
    path = tmp_path / "header"
    soundfile.write(path, np.empty((0, 2)), RATE_HZ, format=container, subtype=coding)
    refusal(path)


def test_a_header_that_claims_samples_which_are_not_there(tmp_path):
    path = tmp_path / "take.flac"
    soundfile.write(path, tone(), RATE_HZ)
    path.write_bytes(path.read_bytes()[:100])  # FLAC: the header with the length, and no frame
    refusal(path)


@pytest.mark.parametrize("peak", [1.5, 4.0, 40.0, 32_768.0, 2.0**31])
def test_floating_point_far_over_full_scale_is_measured(tmp_path, peak):
    path = tmp_path / "unscaled.wav"
    soundfile.write(
        path, tone(channels=2, seconds=3.0) / 10 ** (LEVEL_DBFS / 20) * peak, RATE_HZ, subtype="FLOAT"
    )
    check = measure(path)
    assert check.verdict is Verdict.AWASH
    assert check.summary.bad_samples == 0
    np.testing.assert_allclose(check.summary.peak_dbfs, 20 * np.log10(peak), atol=0.01)


def test_one_frame_is_enough_to_measure(tmp_path):
    path = tmp_path / "one.wav"
    soundfile.write(path, np.array([[0.5, -0.25]]), RATE_HZ)
    check = measure(path)
    np.testing.assert_allclose(check.summary.peak_dbfs, [-6.02, -12.04], atol=0.01)


def wav_with(data_size: int, samples: np.ndarray) -> bytes:
    """A WAV whose header claims ``data_size`` bytes of 16-bit samples."""
    data = (samples * 32767).astype("<i2").tobytes()
    fmt = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, RATE_HZ, RATE_HZ * 2, 2, 16)
    riff = struct.pack("<4sI4s", b"RIFF", min(2**32 - 1, 36 + data_size), b"WAVE")
    return riff + fmt + struct.pack("<4sI", b"data", data_size) + data


@pytest.mark.parametrize("claimed", [2**32 - 1, 2**31, 44_102, 88_200])
def test_a_header_that_claims_too_much_is_not_believed(tmp_path, claimed):
    path = tmp_path / "lying.wav"
    path.write_bytes(wav_with(claimed, tone()[:, 0]))
    check = measure(path)
    assert check.duration_s == pytest.approx(0.5, abs=0.001)
    assert check.summary.peak_dbfs[0] == pytest.approx(LEVEL_DBFS, abs=0.01)


def test_a_recorder_that_died_left_a_length_of_zero(tmp_path):
    # Either answer is honest; to measure silence would not be.
    path = tmp_path / "crashed.wav"
    path.write_bytes(wav_with(0, tone()[:, 0]))
    check = measured_or_refused(path)
    if check is not None:
        assert check.summary.peak_dbfs[0] == pytest.approx(LEVEL_DBFS, abs=0.01)


def test_samples_that_are_no_numbers(tmp_path):
    samples = tone(channels=2)
    samples[100:110, 0] = np.nan
    samples[200, 1] = -np.inf
    samples[300, 1] = 1e38
    path = tmp_path / "odd.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="DOUBLE")
    check = measure(path)
    assert check.summary.bad_samples == 12
    assert check.summary.peak_dbfs[0] == pytest.approx(LEVEL_DBFS, abs=0.01)


@functools.cache
def whole(container: str, coding: str) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, tone(channels=2, seconds=0.1), RATE_HZ, format=container, subtype=coding)
    return file.getvalue()


FORMATS = st.sampled_from(
    [
        *(("WAV", "PCM_16"), ("WAV", "FLOAT"), ("WAV", "ULAW"), ("WAV", "MS_ADPCM"), ("RF64", "PCM_24")),
        *(("AIFF", "PCM_24"), ("CAF", "PCM_16"), ("AU", "PCM_16"), ("FLAC", "PCM_16"), ("W64", "PCM_16")),
        *(("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III")),
    ]
)
HARD = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@HARD
@given(FORMATS, st.floats(0.0, 1.0))
def test_cut_short_anywhere(tmp_path, form, share):
    content = whole(*form)
    path = tmp_path / "cut"
    path.write_bytes(content[: round(share * len(content))])
    measured_or_refused(path)


@HARD
@given(
    FORMATS,
    st.lists(st.tuples(st.floats(0.0, 1.0), st.integers(0, 255)), min_size=1, max_size=6),
    st.booleans(),
)
def test_with_bytes_overwritten(tmp_path, form, changes, in_the_header):
    content = bytearray(whole(*form))
    reach = min(64, len(content) - 1) if in_the_header else len(content) - 1
    for place, value in changes:
        content[round(place * reach)] = value
    path = tmp_path / "changed"
    path.write_bytes(content)
    measured_or_refused(path)


@HARD
@given(st.binary(max_size=300), FORMATS)
def test_with_noise_behind_the_first_bytes(tmp_path, noise, form):
    path = tmp_path / "noise"
    path.write_bytes(whole(*form)[:12] + noise)
    measured_or_refused(path)


def test_the_sound_files_of_a_folder(tmp_path):
    (tmp_path / "b" / ".hidden").mkdir(parents=True)
    for name in ("b/2.WAV", "b/1.flac", "a.ogg", "b/.hidden/3.wav", "b/._1.flac", "notes.txt", "b/wav"):
        (tmp_path / name).touch()
    assert sound_files(tmp_path) == [tmp_path / name for name in ("a.ogg", "b/1.flac", "b/2.WAV")]
    assert sound_files(tmp_path / "notes.txt") == [tmp_path / "notes.txt"]
    assert sound_files(tmp_path / "missing") == [tmp_path / "missing"]
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(SoundFileError, match="no sound files"):
        sound_files(empty)
