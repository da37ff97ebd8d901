"""The engine: what goes in comes out as reports, whatever happens to the input meanwhile."""

import gc
import math
import threading
import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from app.coach.judgement import Target, Verdict
from app.coach.parts import find_part
from app.coach.session import GuidedSession, Step
from app.coach.verdict import Coach
from app.engine.events import EventKind
from app.engine.loop import Engine
from app.engine.snapshot import InputState
from app.errors import DeviceError, SwellmarkError
from app.inputs.fake import FakeSource

RATE_HZ = 48_000


def _coach(channels, rate_hz, hop_frames):
    return Coach(channels, rate_hz, hop_frames)


def _tone(seconds, level_dbfs=-12.0, channels=1):
    t_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tone = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 220 * t_s)
    return np.repeat(tone.astype(np.float32)[:, None], channels, axis=1)


def _until(condition, timeout_s=5.0):
    deadline = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < deadline, "waited too long"
        time.sleep(0.002)


@pytest.fixture
def run():
    """Start engines that end with the test; every report they made is in ``run.reports``."""
    engines = []

    def start(source=None, **kwargs):
        start.reports = []
        start.ends = []
        engine = Engine(_coach, [start.reports.append], [start.ends.append], **kwargs)
        engines.append(engine)
        if source is not None:
            engine.open(source)
        return engine

    yield start
    for engine in engines:
        assert engine.stop()


def _events(reports):
    return [event for report in reports for event in report.events]


def test_every_frame_is_reported_once_and_in_order(run):
    engine = run(FakeSource(_tone(2.05), block_frames=[1, 700, 4096, 33]))
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    starts = [(report.reading.start_frame, report.reading.frames) for report in run.reports]
    assert starts[0][0] == 0
    assert all(start + frames == after for (start, frames), (after, _) in pairwise(starts))
    assert sum(frames for _, frames in starts) == round(2.05 * RATE_HZ)
    assert engine.snapshot.t_s == pytest.approx(2.05)
    assert engine.snapshot.peak_hold_dbfs[0] == pytest.approx(-12.0, abs=0.05)
    assert run.ends == [True]


def test_lost_frames_are_counted_placed_and_shown_as_a_gap(run):
    source = FakeSource(_tone(1.0))
    source.drop_at_frame(9_600, 4_800)
    engine = run(source)
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    gaps = [event for event in _events(run.reports) if event.kind is EventKind.GAP]
    assert [(gap.frame, gap.frames, gap.t_s) for gap in gaps] == [(9_600, 4_800, pytest.approx(0.2))]
    assert engine.snapshot.lost_frames == run.reports[-1].lost_frames == 4_800
    assert engine.snapshot.t_s == pytest.approx(1.0)
    unknown = np.isnan(engine.history.view().average_dbfs[:, 0])
    assert np.flatnonzero(unknown).tolist() == list(range(20, 30))


def test_clips_are_events_with_their_place_and_stay_counted_until_reset(run):
    samples = _tone(1.0, channels=2)
    samples[30_000:30_007, 1] = -1.0
    engine = run(FakeSource(samples))
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    clips = [event for event in _events(run.reports) if event.kind is EventKind.CLIP]
    assert [(clip.frame, clip.channel, clip.frames, clip.peak_dbfs) for clip in clips] == [
        (30_000, 2, 7, 0.0)
    ]
    assert engine.snapshot.clips == (0, 1)
    assert np.argwhere(engine.history.view().clipped).tolist() == [[62, 1]]


def test_bad_samples_are_an_event_and_spoil_nothing(run):
    source = FakeSource(_tone(0.5))
    source.fill_at_frame(1_000, 3)
    engine = run(source)
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    bad = [event for event in _events(run.reports) if event.kind is EventKind.BAD_SAMPLES]
    assert sum(event.frames for event in bad) == 3
    assert all(
        math.isfinite(report.reading.average_dbfs[-1, 0]) for report in run.reports if report.reading.hops
    )


def test_a_verdict_that_changes_is_an_event(run):
    played = (np.arange(8 * RATE_HZ) % RATE_HZ < 0.8 * RATE_HZ)[:, None]  # a rest in every second
    quiet, loud = _tone(8.0, -45.0) * played, _tone(8.0, -0.5) * played
    engine = run(FakeSource(np.concatenate([quiet, loud]).astype(np.float32)))
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    verdicts = [event.detail for event in _events(run.reports) if event.kind is EventKind.VERDICT]
    assert run.reports[0].coach.worst.verdict is Verdict.LOW_WATER
    assert verdicts == ["high_water"]


def test_an_input_that_goes_silent_is_noticed_by_the_clock_and_welcomed_back(run):
    source = FakeSource(_tone(30.0), paced=True)
    engine = run(source)
    _until(lambda: engine.snapshot.t_s > 0.1)
    source.stall()
    stalled_s = time.monotonic()
    _until(lambda: engine.snapshot.state is InputState.STALLED)
    assert 0.4 < time.monotonic() - stalled_s < 1.5
    source.resume()
    _until(lambda: engine.snapshot.state is InputState.RUNNING)
    kinds = [event.kind for event in _events(run.reports)]
    assert kinds.index(EventKind.INPUT_LOST) < kinds.index(EventKind.INPUT_BACK)


def test_an_unplugged_input_is_lost_and_the_last_figures_stay(run):
    source = FakeSource(_tone(30.0), paced=True)
    engine = run(source)
    _until(lambda: engine.snapshot.t_s > 0.1)
    source.unplug()
    _until(lambda: engine.snapshot.state is InputState.LOST)
    assert engine.snapshot.peak_hold_dbfs[0] == pytest.approx(-12.0, abs=0.1)
    assert EventKind.INPUT_LOST in [event.kind for event in _events(run.reports)]


def test_an_input_that_cannot_be_opened_is_a_problem_with_a_sentence(run):
    class Refusing(FakeSource):
        def start(self):
            raise DeviceError("The device says no.", "PaErrorCode -9996")

    engine = run(Refusing(_tone(0.1)))
    _until(lambda: engine.snapshot.state is InputState.FAILED)
    assert engine.snapshot.problem.sentence == "The device says no."
    engine.open(FakeSource(_tone(0.1)))
    _until(lambda: engine.snapshot.state is InputState.ENDED)


def test_a_fault_of_ours_becomes_a_sentence_and_another_input_still_opens(run):
    class Broken(FakeSource):
        def read(self, max_frames, timeout_s):
            raise ZeroDivisionError("boom")

    engine = run(Broken(_tone(0.1)))
    _until(lambda: engine.snapshot.state is InputState.FAILED)
    assert isinstance(engine.snapshot.problem, SwellmarkError)
    assert "boom" in engine.snapshot.problem.detail
    assert run.ends == [False]
    engine.open(FakeSource(_tone(0.1)))
    _until(lambda: engine.snapshot.state is InputState.ENDED)


def test_a_broken_observer_does_not_end_the_metering():
    def broken(report):
        raise RuntimeError("no")

    seen = []
    engine = Engine(_coach, [broken, seen.append])
    engine.open(FakeSource(_tone(1.0)))
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    assert sum(report.reading.frames for report in seen) == RATE_HZ
    assert engine.snapshot.problem is not None
    assert engine.stop()


def test_listeners_are_handed_every_sample_in_order_until_they_are_removed(run):
    samples = _tone(1.0, channels=2)
    source = FakeSource(samples)
    source.drop_at_frame(9_600, 4_800)
    heard = []
    engine = run()
    engine.add_listener(lambda info, block: heard.append((info.rate_hz, block)))
    engine.open(source)
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    assert {rate_hz for rate_hz, _ in heard} == {RATE_HZ}
    assert sum(block.lost_frames for _, block in heard) == 4_800
    came = np.concatenate([block.samples for _, block in heard])
    np.testing.assert_array_equal(came, np.delete(samples, np.s_[9_600:14_400], axis=0))


def test_a_listener_leaves_by_itself_or_when_it_breaks_and_the_others_stay(run):
    def broken(info, block):
        raise RuntimeError("no")

    left, stays = [], []

    def leaving(info, block):
        left.append(block)

    engine = run()
    for listener in (broken, leaving, lambda info, block: stays.append(block)):
        engine.add_listener(listener)
    engine.remove_listener(leaving)
    engine.remove_listener(leaving)
    engine.open(FakeSource(_tone(0.5)))
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    assert sum(block.samples.shape[0] for block in stays) == RATE_HZ // 2
    assert not left
    assert "Listening to your part stopped" in engine.snapshot.problem.sentence


def test_changing_inputs_while_running_leaves_none_behind(run):
    sources = [FakeSource(_tone(10.0), paced=True) for _ in range(12)]
    engine = run()
    for source in sources:
        engine.open(source)
    _until(lambda: engine.snapshot.state is InputState.RUNNING and engine.snapshot.t_s > 0.05)
    engine.close_input()
    assert engine.wait(2.0)
    assert engine.snapshot.state is InputState.CLOSED
    assert len(run.ends) == len(sources)


def test_stop_is_quick_idempotent_and_leaves_no_thread():
    before = threading.active_count()
    engine = Engine(_coach)
    engine.open(FakeSource(_tone(10.0), paced=True))
    begun_s = time.monotonic()
    assert engine.stop()
    assert engine.stop()
    assert time.monotonic() - begun_s < 1.0
    assert threading.active_count() == before


def test_reset_lets_the_hold_and_the_counts_go(run):
    loud = _tone(0.5, 0.0)
    loud[100:110] = 1.0
    engine = run(FakeSource([loud, *(_tone(0.1, -20.0) for _ in range(200))], paced=True))
    _until(lambda: engine.snapshot.clips == (1,))
    _until(lambda: engine.snapshot.t_s > 0.6)
    engine.reset()
    _until(lambda: engine.snapshot.clips == (0,))
    assert engine.snapshot.peak_hold_dbfs[0] < -19.0


def test_long_listening_keeps_no_objects(run):
    block = _tone(1.0)
    engine = run(FakeSource(block for _ in range(20)))
    _until(lambda: engine.snapshot.state is InputState.ENDED, 20.0)
    run.reports.clear()
    gc.collect()
    before = len(gc.get_objects())
    engine.open(FakeSource(block for _ in range(100)))
    _until(lambda: engine.snapshot.state is InputState.ENDED and engine.snapshot.t_s > 99, 30.0)
    run.reports.clear()
    gc.collect()
    assert len(gc.get_objects()) - before < 500


def _phrases(seconds, peak_dbfs):
    """Quiet for four seconds, then phrases of plucked notes."""
    t_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    playing = (t_s > 4.0) & (t_s % 5.0 < 4.0)
    wave = 10 ** (peak_dbfs / 20) * np.exp(-2 * (t_s % 0.5)) * np.sin(2 * np.pi * 110 * t_s) * playing
    return (wave + 1e-4 * np.random.default_rng(1).standard_normal(t_s.size)).astype(np.float32)[:, None]


def test_a_guided_session_asks_for_the_turn_that_is_needed(run):
    blocks = np.split(np.repeat(_phrases(60.0, -28.0), 2, axis=1), 60)
    source = FakeSource([blocks[0] * 0, *blocks])
    source.stall_at_frame(RATE_HZ)
    engine = run(source)
    _until(lambda: engine.snapshot.t_s >= 1.0)
    engine.begin_session(lambda hop_s: GuidedSession(find_part("bass"), Target(), hop_s), channel=1)
    assert engine.wait(2.0)
    source.resume()
    _until(lambda: engine.snapshot.state is InputState.ENDED, 30.0)
    session = engine.snapshot.session
    assert engine.snapshot.session_channel == 1
    assert session.step is Step.TURN
    # Peaks at -28 dBFS belong between -14 and -6 for a take that runs a little louder.
    assert 10 <= session.gain_change_db <= 22


def test_leaving_and_skipping_a_session(run):
    engine = run(FakeSource(_phrases(30.0, -20.0), paced=True))
    engine.begin_session(lambda hop_s: GuidedSession(find_part("bass"), Target(), hop_s))
    _until(lambda: engine.snapshot.session is not None)
    assert engine.snapshot.session.step is Step.QUIET
    engine.skip_step()
    _until(lambda: engine.snapshot.session.step is Step.LOUD)
    engine.end_session()
    _until(lambda: engine.snapshot.session is None)


def test_a_live_input_gets_a_forecast_unless_a_take_runs(run):
    class Live(FakeSource):
        """Arrives by the clock, says its info, and does not wait for it."""

        @property
        def info(self):
            return replace(super().info, live=True)

    source = Live(np.split(_phrases(60.0, -12.0), 60))
    source.stall_at_frame(40 * RATE_HZ)
    engine = run(source)
    _until(lambda: engine.snapshot.t_s >= 40.0, 30.0)
    forecast = engine.snapshot.forecast
    assert forecast.peak_p50_dbfs > -12.5
    assert forecast.heard_s >= 8.0
    engine.set_taking(True)
    assert engine.wait(2.0)
    source.resume()
    _until(lambda: engine.snapshot.t_s >= 50.0, 30.0)
    assert engine.snapshot.forecast is None


def test_a_turned_knob_is_an_event_of_its_channel(run):
    """Quiet, playing, the knob goes up by 12 dB under the playing, quiet."""
    rng = np.random.default_rng(2)

    def stretch(seconds, level_dbfs):
        frames = round(seconds * RATE_HZ)
        swell = 1.0 + 0.3 * np.sin(2 * np.pi * 1.3 * np.arange(frames) / RATE_HZ)
        return 10 ** (level_dbfs / 20) * swell * rng.normal(0, 1.0, frames)

    noise = 10 ** (-75 / 20) * rng.normal(0, 1.0, 26 * RATE_HZ)
    played = np.concatenate([stretch(3, -200), stretch(20, -40), stretch(3, -200)])
    gain = np.ones(26 * RATE_HZ)
    gain[13 * RATE_HZ :] = 10 ** (12 / 20)
    sound = ((noise + played) * gain).astype(np.float32)
    engine = run(FakeSource(np.stack((np.zeros_like(sound), sound), axis=1)))
    _until(lambda: engine.snapshot.state is InputState.ENDED, 30.0)
    moves = [event for report in run.reports for event in report.events if event.kind is EventKind.GAIN_MOVED]
    assert [event.channel for event in moves] == [2]
    assert moves[0].change_db == pytest.approx(12.0, abs=2.0)
    assert moves[0].t_s > 13.0


def test_unseen_it_takes_longer_steps_to_the_same_figures(run):
    steps, figures = [], []
    for seen in (True, False):
        engine = run()
        engine.set_seen(seen)
        engine.open(FakeSource(_tone(0.5), paced=True))
        _until(lambda engine=engine: engine.snapshot.state is InputState.ENDED)
        steps.append(len(run.reports))
        figures.append((engine.snapshot.average_dbfs, engine.snapshot.peak_hold_dbfs, engine.snapshot.t_s))
    assert steps[1] < 0.6 * steps[0]
    np.testing.assert_allclose(np.hstack(figures[0]), np.hstack(figures[1]), atol=1e-9)


def test_looked_at_now_and_then_it_takes_longer_steps_to_the_same_figures(run):
    steps, figures = [], []
    for every_s in (None, 0.032):
        engine = run()
        engine.open(FakeSource(_tone(0.5), paced=True))
        while engine.snapshot.state is not InputState.ENDED:
            if every_s is not None:
                engine.look_at(time.monotonic() + every_s, every_s)
            time.sleep(every_s or 0.01)
        steps.append(len(run.reports))
        figures.append((engine.snapshot.average_dbfs, engine.snapshot.peak_hold_dbfs, engine.snapshot.t_s))
    assert steps[1] < 0.6 * steps[0]
    np.testing.assert_allclose(np.hstack(figures[0]), np.hstack(figures[1]), atol=1e-9)


def test_a_command_that_breaks_becomes_a_sentence_and_the_engine_lives_on(run):
    def broken(*_):
        raise ZeroDivisionError("by nought")

    engine = run(FakeSource(_tone(10.0), paced=True))
    _until(lambda: engine.snapshot.state is InputState.RUNNING)
    engine.set_coach(broken)
    _until(lambda: engine.snapshot.state is InputState.FAILED)
    assert "ZeroDivisionError" in engine.snapshot.problem.detail
    engine.set_coach(_coach)
    engine.open(FakeSource(_tone(0.1)))
    _until(lambda: engine.snapshot.state is InputState.ENDED)


def test_whoever_has_fallen_behind_takes_much_at_once_until_it_has_caught_up(run):
    sizes = []

    class Backlog(FakeSource):
        """Three seconds lie there; from then on hops come by the clock."""

        def read(self, max_frames, timeout_s):
            behind = sum(sizes) < 3 * RATE_HZ
            frames = max_frames if behind else min(max_frames, round(timeout_s * RATE_HZ))
            if not behind:
                time.sleep(frames / RATE_HZ)
            block = super().read(frames, 0.0) if frames else super().read(1, 0.0)
            sizes.append(block.samples.shape[0])
            return block

    source = Backlog(_tone(4.0))
    source._info = replace(source.info, live=True)
    engine = run(source)
    _until(lambda: engine.snapshot.state is InputState.ENDED)
    hop = sizes[0]
    assert max(sizes) == 50 * hop
    assert sum(size for size in sizes if size == 50 * hop) > 2 * RATE_HZ
    assert sizes[-10:].count(hop) > 5
    assert engine.snapshot.t_s == pytest.approx(4.0)
