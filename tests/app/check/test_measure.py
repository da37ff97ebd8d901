"""Files through the chain: long and short blocks, two threads, and what goes wrong on either."""

import threading

import numpy as np
import pytest
import soundfile

from app.check import measure
from app.check.measure import check_file
from app.coach.parts import find_part
from app.errors import SoundFileError
from dsp.chain import Chain
from dsp.longterm import LongTerm


@pytest.fixture
def take(tmp_path):
    """Seven seconds of plucked tones in stereo, one clip on the right."""
    rate_hz = 8_000
    t_s = np.arange(7 * rate_hz + 13) / rate_hz
    wave = np.exp(-3.0 * (t_s % 0.7)) * np.sin(2 * np.pi * 220.0 * t_s)
    samples = np.stack((0.3 * wave, 0.2 * wave), axis=1)
    samples += 1e-4 * np.random.default_rng(1).standard_normal(samples.shape)
    samples[30_001:30_006, 1] = 1.0
    path = tmp_path / "take.wav"
    soundfile.write(path, samples, rate_hz, subtype="PCM_24")
    return path


def _figures(check):
    summary = check.summary
    per_channel = [
        summary.peak_dbfs,
        summary.true_peak_dbtp,
        summary.average_max_dbfs,
        summary.rms_dbfs,
        summary.noise_floor_dbfs,
        summary.noise_floor_dba,
        summary.dc_offset,
    ]
    loudness = [summary.integrated_lufs, summary.range_lu, summary.momentary_max_lufs]
    advice = [each.judgement.gain_change_db for each in check.channels]
    playing = [each.judgement.average_playing_dbfs or np.nan for each in check.channels]
    return np.concatenate([*per_channel, loudness, advice, playing])


def test_neither_blocks_nor_the_grouping_of_readings_show_in_the_figures(take, monkeypatch):
    whole = check_file(take, find_part("other"))
    assert [len(each.clips) for each in whole.channels] == [0, 1]
    assert whole.channels[1].clips[0].start_frame == 30_001
    assert whole.channels[1].clips[0].frames == 5
    monkeypatch.setattr(measure, "_BLOCK_SAMPLES", 5_000)
    monkeypatch.setattr(measure, "_JUDGEMENT_S", 2.0)
    cut = check_file(take, find_part("other"))
    np.testing.assert_allclose(_figures(cut), _figures(whole), rtol=1e-9, atol=1e-9)
    assert [each.clips for each in cut.channels] == [each.clips for each in whole.channels]
    assert [each.judgement.verdict for each in cut.channels] == [
        each.judgement.verdict for each in whole.channels
    ]


@pytest.mark.parametrize("half", [(Chain, "_measure_now"), (LongTerm, "watch")])
def test_what_breaks_in_either_half_reaches_the_caller_and_leaves_no_thread(take, monkeypatch, half):
    def broken(*args):
        raise ZeroDivisionError("half of the work")

    before = set(threading.enumerate())
    monkeypatch.setattr(*half, broken)
    with pytest.raises(ZeroDivisionError, match="half of the work"):
        check_file(take, find_part("other"))
    assert set(threading.enumerate()) == before


def test_what_breaks_while_decoding_reaches_the_caller(take, monkeypatch):
    monkeypatch.setattr(
        measure.FileSource, "read", lambda self, frames, timeout_s: (_ for _ in ()).throw(OSError("gone"))
    )
    before = set(threading.enumerate())
    with pytest.raises(OSError, match="gone"):
        check_file(take, find_part("other"))
    assert set(threading.enumerate()) == before


def test_a_missing_file_is_refused_before_any_thread_starts(tmp_path):
    with pytest.raises(SoundFileError, match="nowhere"):
        check_file(tmp_path / "nowhere.wav", find_part("other"))


@pytest.mark.parametrize(
    ("rate_hz", "channels"), [(8_000, 1), (44_100, 2), (48_000, 2), (96_000, 8), (192_000, 32), (384_000, 32)]
)
def test_a_block_is_bounded_and_lies_on_the_grid(rate_hz, channels, tmp_path):
    path = tmp_path / "short.wav"
    soundfile.write(path, np.zeros((10, channels)), rate_hz, subtype="FLOAT")
    source = measure.FileSource(path, paced=False)
    source.start()
    frames = measure._block_frames(source.info)
    source.close()
    batch = rate_hz // 10
    assert frames % batch == 0
    assert batch <= frames <= max(batch, 4 * rate_hz)
    assert frames * channels <= max(batch * channels, 1 << 19)
