"""The run can fail: a chain that is off by little is found out."""

from __future__ import annotations

import math
import threading
from dataclasses import replace
from itertools import islice

import numpy as np
import pytest

from app.conform import Case, Trial, run, running, trials
from app.conform.level_cases import aes17_trials, average_trials, true_peak_trials
from app.conform.loudness_cases import loudness_trials
from app.conform.running import measure
from app.conform.signals import stereo, tone
from dsp.chain import Chain


class OffLevel(Chain):
    """Reads 0.2 dB too much everywhere."""

    def process(self, block):
        return super().process(block * np.float32(10 ** (0.2 / 20)))


class OneSecondOnly(Chain):
    """Loses everything behind the first second."""

    def process(self, block):
        return super().process(block if self.position_frames < self.rate_hz else block * 0)


class CoarseSteps(Chain):
    """Reads momentary loudness every 100 ms instead of every hop."""

    def summary(self):
        return replace(super().summary(), momentary_max_lufs=math.nan)

    def process(self, block):
        reading = super().process(block)
        if reading is None:
            return None
        series = reading.momentary_lufs.copy()
        series[np.arange(series.size) % 10 != 4] = -np.inf
        return replace(reading, momentary_lufs=series)


def steady(level=-23.0, tolerance=0.1):
    case = Case(
        "integrated", "BS.1770", lambda m: m.summary.integrated_lufs, -23.0, tolerance, tolerance, "LUFS"
    )
    return Trial(48000, 2, lambda: tone(48000, stereo((3, level))), [case])


def failed(results):
    return [result for result in results if not result.passed]


def test_a_right_chain_passes():
    trials = [*aes17_trials(48000), *true_peak_trials(48000), *islice(average_trials(48000), 4)]
    results = list(run(trials))
    assert len(results) == sum(len(trial.cases) for trial in trials) > 30
    assert failed(results) == []


def test_loudness_passes():
    # The shortest of them; the command runs all.
    wanted = {f"EBU Tech 3341 case {number}" for number in (9, 12, 14)}
    trials = [t for t in loudness_trials(48000) if t.cases[0].source in wanted]
    results = list(run(trials))
    assert {result.case.source for result in results} == wanted
    assert failed(results) == []


@pytest.mark.parametrize(
    ("wrong", "found_out_by"),
    [
        (OffLevel, {"AES17", "BS.1770", "EBU Tech 3341 case 9"}),
        (OneSecondOnly, {"AES17", "IEC 60268-17", "BS.1770", "EBU Tech 3341 case 9"}),
    ],
)
def test_a_wrong_chain_is_found_out(wrong, found_out_by):
    trials = [
        *aes17_trials(48000),
        next(average_trials(48000)),
        steady(),
        *(t for t in loudness_trials(48000) if t.cases[0].source == "EBU Tech 3341 case 9"),
    ]
    assert {result.case.source for result in failed(run(trials, wrong))} == found_out_by


def test_a_step_of_100_ms_is_found_out():
    trials = [t for t in loudness_trials(48000) if t.cases[0].source == "EBU Tech 3341 case 14"]
    assert failed(run(trials, CoarseSteps))


def test_each_tolerance_is_judged_by_itself():
    (trial,) = [steady(level=-22.7)]
    (result,) = run([trial])
    assert not result.passed
    assert result.measured == pytest.approx(-22.7, abs=0.05)
    wide = replace(trial.cases[0], tolerance_high=0.5)
    (result,) = run([replace(trial, cases=[wide])])
    assert result.passed
    low_only = replace(trial.cases[0], tolerance_low=0.5)
    (result,) = run([replace(trial, cases=[low_only])])
    assert not result.passed


def test_no_answer_is_a_failure():
    case = Case("nothing", "test", lambda m: math.nan, 0.0, math.inf, math.inf)
    assert failed(run([replace(steady(), cases=[case])]))


def test_results_come_in_order_while_others_still_run():
    gate = threading.Event()

    def late():
        gate.wait(10)
        yield from tone(48000, stereo((0.5, -23.0)))

    trials = [replace(steady(), cases=[replace(c, name=str(i)) for c in steady().cases]) for i in range(3)]
    trials[1] = replace(trials[1], signal=late)
    results = run(trials)
    assert next(results).case.name == "0"
    gate.set()
    assert [result.case.name for result in results] == ["1", "2"]


def test_an_error_in_the_chain_reaches_the_caller_and_no_thread_stays():
    class Broken(Chain):
        def process(self, block):
            raise RuntimeError("broken on purpose")

    with pytest.raises(RuntimeError, match="on purpose"):
        list(run([steady()] * 3, Broken))
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("conform")]


def test_whoever_stops_listening_leaves_no_thread_behind():
    results = run([steady() for _ in range(4)])
    next(results)
    results.close()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("conform")]


def test_measure_collects_the_whole_series():
    measured = measure(steady(), Chain(48000, 2))
    assert measured.average_dbfs.shape == (300, 2)
    assert measured.momentary_lufs.shape == measured.short_term_lufs.shape == (300,)
    assert measured.hop_at(3.0) == 299


def test_processes_measure_the_catalogue_like_threads(monkeypatch):
    few = [next(aes17_trials(48000)), next(average_trials(48000))]
    monkeypatch.setattr(running, "_catalogue", lambda: tuple(few))
    for number, trial in enumerate(few):
        expected = [result.measured for result in run([trial])]
        assert running._values(number) == pytest.approx(expected, nan_ok=True)


def test_the_catalogue_comes_in_order_and_can_be_left_early():
    results = running.run_catalogue(1)
    first = next(results)
    assert first.case.name == next(trials()).cases[0].name
    assert first.passed
    results.close()
