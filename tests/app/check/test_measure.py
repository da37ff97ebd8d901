"""Files through the chain: long and short blocks, two threads, and what goes wrong on either."""

import multiprocessing
import operator
import threading

import numpy as np
import pytest
import soundfile

from app.check import measure, reading, watchaside
from app.check.document import document
from app.check.measure import Sharing, check_file
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
    monkeypatch.setattr(reading, "_BLOCK_SAMPLES", 5_000)
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
def test_a_block_is_bounded_and_lies_on_the_grid(rate_hz, channels):
    frames = reading.piece_frames(rate_hz, channels)
    batch = rate_hz // 10
    assert frames % batch == 0
    assert batch <= frames <= max(batch, 4 * rate_hz)
    assert frames * channels <= max(batch * channels, 1 << 19)


@pytest.fixture
def shared(monkeypatch):
    """Every file is worth a process aside, and makes more pieces than fit into what the two share."""
    monkeypatch.setattr(measure, "_WORTH_A_PROCESS", 0)
    monkeypatch.setattr(reading, "_BLOCK_SAMPLES", 40_000)
    monkeypatch.setattr(measure.aside, "cores", lambda: 2)
    threads = set(threading.enumerate())
    yield
    assert multiprocessing.active_children() == []
    assert set(threading.enumerate()) == threads


def _overloaded(tmp_path, channels=2, rate_hz=8_000, seconds=31.7):
    """Cut at a ceiling, over hum, with one channel dead: something for every stage to find."""
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    swell = 0.3 + 0.7 * np.random.default_rng(2).random(round(2 * seconds))
    wave = np.exp(-3.0 * (t_s % 0.7)) * np.sin(2 * np.pi * 220.0 * t_s) * swell[(t_s / 0.7).astype(int)]
    samples = np.clip(wave, -0.2, 0.2)[:, np.newaxis] * np.r_[1.0, np.zeros(channels - 1)]
    samples += (
        1e-3 * np.sin(2 * np.pi * 50.0 * np.arange(1, 8) * t_s[:, np.newaxis]).sum(axis=1)[:, np.newaxis]
    )
    samples += 1e-4 * np.random.default_rng(1).standard_normal(samples.shape)
    path = tmp_path / "overloaded.wav"
    soundfile.write(path, samples, rate_hz, subtype="PCM_24")
    return path


@pytest.mark.parametrize("channels", [1, 2, 5])
def test_a_process_aside_finds_what_one_thread_finds_to_the_last_bit(tmp_path, channels, shared):
    path = _overloaded(tmp_path, channels)
    heard = {sharing: [] for sharing in Sharing}
    checks = {
        sharing: check_file(path, find_part("other"), sharing=sharing, observe=heard[sharing].append)
        for sharing in Sharing
    }
    alone = checks[Sharing.ALONE]
    assert alone.channels[0].clips
    for sharing in (Sharing.THREADS, Sharing.PROCESSES):
        assert document([checks[sharing]]) == document([alone])
        for mine, his in zip(heard[sharing], heard[Sharing.ALONE], strict=True):
            np.testing.assert_array_equal(mine.average_dbfs, his.average_dbfs)
            np.testing.assert_array_equal(mine.momentary_lufs, his.momentary_lufs)
            np.testing.assert_array_equal(mine.noise_floor_dbfs, his.noise_floor_dbfs)
            assert (mine.clips, mine.hum, mine.faults) == (his.clips, his.hum, his.faults)


def test_what_the_process_aside_cannot_do_is_done_here(take, monkeypatch, shared):
    alone = document([check_file(take, find_part("other"), sharing=Sharing.ALONE)])

    def refuse(*arguments):
        raise OSError("no more processes")

    with monkeypatch.context() as patched:
        patched.setattr(measure.aside, "start", refuse)
        assert document([check_file(take, find_part("other"), sharing=Sharing.PROCESSES)]) == alone
    monkeypatch.setattr(watchaside, "_serve", operator.is_)  # ends before it has said anything
    assert document([check_file(take, find_part("other"), sharing=Sharing.PROCESSES)]) == alone
    with pytest.raises(SoundFileError, match=r"take\.wav"):
        check_file(take, find_part("other"), sharing=Sharing.PROCESSES, observe=[].append)


def test_a_process_that_dies_in_the_middle_costs_nothing_but_time(take, monkeypatch, shared):
    alone = document([check_file(take, find_part("other"), sharing=Sharing.ALONE)])
    monkeypatch.setattr(reading, "_BLOCK_SAMPLES", 5_000)

    def kill(share):
        for process in multiprocessing.active_children():
            process.kill()

    check = check_file(take, find_part("other"), progress=kill, sharing=Sharing.PROCESSES)
    assert document([check])["files"][0]["verdict"] == alone["files"][0]["verdict"]


def test_leaving_in_the_middle_leaves_no_process(take, shared):
    def leave(share):
        raise ZeroDivisionError("left")

    with pytest.raises(ZeroDivisionError):
        check_file(take, find_part("other"), progress=leave, sharing=Sharing.PROCESSES)
