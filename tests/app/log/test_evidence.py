"""Sound files beside the log: found again from the list, private, bounded, never at the cost of events."""

from __future__ import annotations

import stat
import sys

import numpy as np
import pytest
import soundfile

from app.coach.verdict import Coach
from app.engine.evidence import EvidenceTaker, Stretch
from app.engine.loop import Engine
from app.engine.snapshot import InputState
from app.errors import LogError
from app.inputs.fake import FakeSource
from app.log import evidence as module
from app.log.book import TakeBook
from app.log.edit import purge
from app.log.evidence import evidence_folder, evidence_of, keep_evidence, sweep_evidence
from app.log.keeper import TakeKeeper
from app.log.records import TakeEvent
from app.log.saving import save_events, save_take
from app.log.store import Store
from app.log.writer import LogWriter

RATE_HZ = 48_000
FRAMES = 4_800


def stretch(uid="one", start=0, frames=FRAMES, channels=(0,), value=0.25):
    columns = max(channels) + 1
    piece = np.full((frames, columns), value, np.float32)
    return Stretch(
        uid, RATE_HZ, 1_000, 1_000 + start, 1_000 + start + frames, channels, ((1_000 + start, piece),)
    )


@pytest.fixture
def store(path, make_update):
    with Store(path) as store:
        with store.writing():
            number = save_take(store, make_update(frames=480_000), None, "somebody")
            save_events(store, number, 0, [TakeEvent("clip", 100, 1, 7, 0.0), TakeEvent("gap", 100, None, 5)])
        yield store


def test_a_clip_is_found_again_by_its_event(store, path):
    keep_evidence(store, 1, [stretch(), stretch(start=10_000, channels=(1,))])
    take = store.take(1)
    clip, gap = take.events
    found = evidence_of(take, clip, path)
    assert found is not None
    sound, rate_hz = soundfile.read(found)
    assert (rate_hz, sound.shape) == (RATE_HZ, (FRAMES,))
    assert np.abs(sound - 0.25).max() < 1e-6
    assert soundfile.info(found).format == "FLAC"
    assert evidence_of(take, gap, path) is None
    elsewhere = TakeEvent("clip", 10_100, 1, 7, 0.0)
    assert evidence_of(take, elsewhere, path) is None, "another channel clipped there"
    found.unlink()
    assert evidence_of(take, clip, path) is None


@pytest.mark.skipif(sys.platform == "win32", reason="rights are of another kind there")
def test_nobody_else_may_listen(store, path):
    keep_evidence(store, 1, [stretch()])
    folder = evidence_folder(path)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert [stat.S_IMODE(file.stat().st_mode) for file in folder.iterdir()] == [0o600]


def test_the_oldest_sound_goes_first_and_no_event_with_it(store, path):
    rng = np.random.default_rng(0)
    for index in range(5):
        noise = rng.uniform(-0.5, 0.5, (FRAMES, 1)).astype(np.float32)
        start = index * FRAMES
        kept = Stretch("one", RATE_HZ, 0, start, start + FRAMES, (0,), ((start, noise),))
        keep_evidence(store, 1, [kept], limit_bytes=40_000)
    files = sorted(evidence_folder(path).iterdir())
    assert sum(file.stat().st_size for file in files) <= 40_000
    assert [row.file for row in store.take(1).evidence] == ["one-14400.flac", "one-19200.flac"]
    assert {file.name for file in files} == {"one-14400.flac", "one-19200.flac"}
    assert len(store.take(1).events) == 2


def test_what_belongs_to_no_take_is_swept(store, path, make_update):
    keep_evidence(store, 1, [stretch()])
    (evidence_folder(path) / "left-0.flac").write_bytes(b"")
    (evidence_folder(path) / "notes.txt").write_text("mine")
    sweep_evidence(store)
    assert {file.name for file in evidence_folder(path).iterdir()} == {"one-0.flac", "notes.txt"}
    with store.writing():
        store.change("UPDATE take SET deleted_us = 0")
        purge()(store)
    sweep_evidence(store)
    assert {file.name for file in evidence_folder(path).iterdir()} == {"notes.txt"}


def test_a_nearly_full_disk_is_for_the_log_alone(store, path, monkeypatch):
    monkeypatch.setattr(module, "_ROOM_LEFT_BYTES", 1 << 60)
    with pytest.raises(LogError, match="nearly full"):
        keep_evidence(store, 1, [stretch()])
    assert list(evidence_folder(path).iterdir()) == []
    assert store.take(1).evidence == ()


def test_a_folder_that_cannot_be_made_costs_the_sound_and_not_the_log(path, make_update):
    evidence_folder(path).write_text("in the way")
    log = LogWriter(path)
    log.submit(make_update(events=2))
    log.keep(stretch())
    log.submit(make_update(events=1, first=2))
    assert log.flush()
    assert "could not be kept" in log.notice
    assert log.problem is None
    assert log.close()
    with Store(path) as store:
        assert len(store.take(1).events) == 3


def listen(path, *, on):
    """A take of three seconds with a clip in the middle."""
    t_s = np.arange(3 * RATE_HZ) / RATE_HZ
    samples = (0.25 * np.sin(2 * np.pi * 220 * t_s)).astype(np.float32)
    samples[70_000:70_020] = 1.0
    log = LogWriter(path)
    evidence = EvidenceTaker(log.keep, on=on)
    keeper = TakeKeeper(log, evidence)
    engine = Engine(Coach, [keeper], [keeper.input_gone, evidence.input_gone])
    engine.add_listener(evidence)
    keeper.begin("Second verse")
    engine.open(FakeSource(samples))
    while engine.snapshot.state is not InputState.ENDED:
        assert engine.wait(10.0)
    keeper.close()
    assert engine.stop()
    assert log.close()
    with Store(path) as store:
        return store.take(1), samples, TakeBook(log)


def test_from_the_input_to_the_list(path):
    take, samples, book = listen(path, on=True)
    (clip,) = [event for event in take.events if event.kind == "clip"]
    found = book.evidence_of(take, clip)
    sound, _ = soundfile.read(found, dtype="float32")
    assert sound.shape[0] == 2 * RATE_HZ + 20
    expected = samples[clip.frame - RATE_HZ : clip.frame + 20 + RATE_HZ]
    assert np.abs(sound - expected).max() < 2**-22


def test_nothing_is_kept_unless_somebody_asked(path):
    take, _, book = listen(path, on=False)
    (clip,) = [event for event in take.events if event.kind == "clip"]
    assert book.evidence_of(take, clip) is None
    assert not evidence_folder(path).exists()
