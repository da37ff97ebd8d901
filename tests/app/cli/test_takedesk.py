"""The take button: one take in the log, judged by what was played in it, with the user's own part."""

import time
from dataclasses import replace

import numpy as np
import pytest

from app.cli.options import live_coach
from app.cli.takedesk import TakeDesk
from app.coach.judgement import Target, Verdict
from app.coach.parts import shipped_parts
from app.engine.loop import Engine
from app.engine.snapshot import InputState
from app.inputs.fake import FakeSource
from app.log.keeper import TakeKeeper
from app.log.store import Store
from app.log.writer import LogWriter

RATE_HZ = 48_000


def _phrases(seconds, peak_dbfs):
    t_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    swell = np.exp(-2.0 * (t_s % 0.5)) * (t_s % 3.0 < 2.4)
    wave = 10 ** (peak_dbfs / 20) * swell * np.sin(2 * np.pi * 110 * t_s)
    return (wave + 1e-4 * np.random.default_rng(1).standard_normal(t_s.size)).astype(np.float32)[:, None]


def _until(condition):
    deadline = time.monotonic() + 20.0
    while not condition():
        assert time.monotonic() < deadline, "waited too long"
        time.sleep(0.005)


@pytest.fixture
def desk(tmp_path):
    parts = {**shipped_parts(), "saw": replace(shipped_parts()["other"], key="saw", name="Musical saw")}
    log = LogWriter(tmp_path / "takes.db")
    keeper = TakeKeeper(log)
    engine = Engine(live_coach(parts["other"]), [keeper], [keeper.input_gone])
    desk = TakeDesk(keeper, engine, parts, Target())
    desk.engine, desk.log = engine, log
    yield desk
    assert engine.stop()
    assert log.close()


def _take(desk):
    assert desk.log.flush()
    with Store(desk.log.path) as store:
        (row,) = store.list_takes()
        return store.take(row.number)


def test_a_take_of_ones_own_part_is_judged_by_itself(desk):
    desk.begin("Verse", "saw")
    assert desk.current.part == "saw"
    desk.engine.open(FakeSource([_phrases(12.0, -9.0)]))
    _until(lambda: desk.engine.snapshot.state is InputState.ENDED)
    take = _take(desk)
    assert take.row.name == "Verse"
    assert take.row.part == "saw"
    assert take.row.verdict is Verdict.FAIR_WATER
    assert take.row.peak_dbfs == pytest.approx(-9.0, abs=0.2)


def test_the_live_coach_expects_no_louder_take_while_one_runs(desk):
    told = []
    desk.engine.set_taking = told.append
    desk.begin("", "voice")
    desk.end()
    assert told == [True, False]


def test_an_unknown_part_is_any_part(desk):
    desk.choose_part("what was remembered from another version")
    desk.begin("", "what was remembered from another version")
    assert desk.current.part == "other"
    desk.end()
    assert desk.current is None
