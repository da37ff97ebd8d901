"""Watching a folder, with real files in a folder of the test's own."""

from __future__ import annotations

import os
import time
from functools import partial

import numpy as np
import pytest
import soundfile

from app.coach.judgement import Verdict
from app.coach.parts import find_part
from app.errors import LogError
from app.log import folder as folder_module
from app.log import settling as settling_module
from app.log import sight
from app.log.folder import FolderWatch, Watching
from app.log.lookup import is_logged
from app.log.settling import Stamp
from app.log.store import Store

RATE_HZ = 48_000
PATIENCE_S = 30.0


def sine(level_dbfs=-12.0, seconds=1.0):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.float32(10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 220 * t))


def record(path, level_dbfs=-12.0, seconds=1.0):
    soundfile.write(path, sine(level_dbfs, seconds), RATE_HZ, "PCM_24")
    return path


@pytest.fixture
def inbox(tmp_path):
    folder = tmp_path / "inbox"
    folder.mkdir()
    return folder


@pytest.fixture(params=["native", "polling"])
def way(request, monkeypatch):
    """Both ways of watching: what the system tells, and listing again and again."""
    if request.param == "polling":
        monkeypatch.setattr(sight.Bell, "hang", lambda self, folder: False)
        monkeypatch.setattr(folder_module, "_LIST_EVERY_S", {True: 0.05, False: 0.05})
    return Watching(request.param)


@pytest.fixture
def quick(monkeypatch):
    """Nobody waits for a test: look often, and retry soon."""
    monkeypatch.setattr(folder_module, "_LOOK_EVERY_S", 0.02)
    monkeypatch.setattr(settling_module, "RETRY_AFTER_S", (0.05, 0.05))


@pytest.fixture
def watch(inbox, writer, quick):
    """Begin to watch; what it told is in ``.news``."""
    watches = []

    def begin(**options):
        news = []
        watching = FolderWatch(
            inbox,
            find_part("bass"),
            writer,
            partial(is_logged, writer.path),
            **({"tell": news.append, "settle_s": 0.1} | options),
        )
        watches.append(watching)
        watching.news = news
        until(lambda: watching.view.watching in {Watching.NATIVE, Watching.POLLING})
        return watching

    yield begin
    for watching in watches:
        assert watching.stop()
        assert watching.view.watching is Watching.OVER


def until(condition):
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, "it never came"
        time.sleep(0.01)


def rows(writer):
    assert writer.flush(PATIENCE_S)
    with Store(writer.path) as store:
        return store.list_takes()


def told(watching, count):
    until(lambda: len(watching.news) >= count)
    return watching.news


def test_a_new_file_becomes_a_take(inbox, watch, writer, way):
    watching = watch()
    assert watching.view.watching is way
    path = record(inbox / "Second verse.wav", -12.0, 2.0)
    (news,) = told(watching, 1)
    assert news.path == path
    (row,) = rows(writer)
    assert (row.name, row.input_name, row.part) == ("Second verse", "Second verse.wav", "bass")
    assert row.duration_s == 2.0
    assert row.peak_dbfs == pytest.approx(-12.0, abs=0.01)
    assert row.verdict is news.check.verdict
    assert watching.view.logged == 1


def test_thousands_of_files_that_were_there_are_not_measured(inbox, watch, writer, way):
    for group in range(10):
        (inbox / str(group)).mkdir()
        for number in range(150):
            (inbox / str(group) / f"{number}.wav").write_bytes(b"RIFF")
    watching = watch()
    until(lambda: watching.view.known == 1500)
    record(inbox / "7" / "new.wav")
    (news,) = told(watching, 1)
    assert news.path.name == "new.wav"
    assert watching.view.known == 1501
    assert watching.view.unreadable == 0


def test_what_is_there_is_measured_when_asked_for_once(inbox, watch, writer):
    record(inbox / "one.wav", -12.0)
    record(inbox / "two.wav", -20.0)
    told(watch(existing=True), 2)
    assert len(rows(writer)) == 2
    again = watch(existing=True)
    until(lambda: again.view.known == 2)
    assert again.news == []
    assert len(rows(writer)) == 2


def test_what_came_while_nobody_watched_is_measured(inbox, watch, writer):
    old, new = record(inbox / "old.wav"), record(inbox / "new.wav", -20.0)
    os.utime(old, (1_700_000_000, 1_700_000_000))
    os.utime(new, (1_700_000_100, 1_700_000_100))
    watching = watch(since_s=1_700_000_050.0)
    assert told(watching, 1)[0].path == new
    assert watching.view.known == 2
    assert len(rows(writer)) == 1


def test_a_file_that_grows_is_measured_when_it_is_whole(inbox, watch, writer):
    watching = watch(settle_s=0.4)
    whole = record(inbox.parent / "whole.wav", seconds=3.0).read_bytes()
    path = inbox / "take.wav"
    with path.open("wb", buffering=0) as file:
        for first in range(0, len(whole), len(whole) // 8):
            file.write(whole[first : first + len(whole) // 8])
            time.sleep(0.05)
    # Should the machine stall for longer than the watch waits, the whole take replaces its beginning.
    until(lambda: [row.duration_s for row in rows(writer)] == [3.0])
    assert watching.view.logged == 1


def test_a_take_that_went_on_after_a_pause_replaces_its_beginning(inbox, watch, writer):
    watching = watch()
    with soundfile.SoundFile(inbox / "take.wav", "w", RATE_HZ, 1, "PCM_24") as file:
        file.write(sine(-12.0, 2.0))
        file.flush()
        told(watching, 1)
        rows(writer)
        file.write(sine(-6.0, 2.0))
    told(watching, 2)
    (row,) = rows(writer)
    assert row.duration_s == 4.0
    assert row.number == 2
    assert watching.view.logged == 1


def test_a_take_recorded_anew_into_the_same_file_is_another_take(inbox, watch, writer):
    watching = watch()
    path = record(inbox / "take.wav", -12.0)
    told(watching, 1)
    rows(writer)
    inode = path.stat().st_ino
    path.write_bytes(record(inbox.parent / "other.wav", -20.0, 2.0).read_bytes())
    assert path.stat().st_ino == inode
    told(watching, 2)
    assert [row.duration_s for row in rows(writer)] == [2.0, 1.0]


def test_a_save_by_renaming_is_one_take(inbox, watch, writer, way):
    watching = watch()
    record(inbox / "take.wav", -20.0)
    told(watching, 1)
    part = inbox / ".take.wav.part"
    part.write_bytes(record(inbox.parent / "better.wav", -12.0, 2.0).read_bytes())
    part.rename(inbox / "take.wav")
    told(watching, 2)
    assert [row.duration_s for row in rows(writer)] == [2.0, 1.0]


def test_renaming_makes_no_take(inbox, watch, writer, way):
    old = record(inbox / "old.wav")
    (inbox / "day").mkdir()
    record(inbox / "day" / "older.wav")
    watching = watch()
    new = record(inbox / "new.wav", -20.0)
    told(watching, 1)
    old.rename(inbox / "old, the good one.wav")
    new.rename(inbox / "new, the bad one.wav")
    (inbox / "day").rename(inbox / "Monday")
    marker = record(inbox / "marker.wav", -30.0)
    assert told(watching, 2)[1].path == marker
    assert len(rows(writer)) == 2


def test_a_copy_of_what_is_logged_is_no_take(inbox, watch, writer):
    watching = watch()
    path = record(inbox / "take.wav")
    told(watching, 1)
    (inbox / "copy.wav").write_bytes(path.read_bytes())
    until(lambda: watching.view.known == 2)
    assert len(rows(writer)) == 1


def test_a_folder_that_arrives_whole_is_looked_into(inbox, watch, writer, way):
    watching = watch()
    session = inbox.parent / "evening"
    (session / "deep").mkdir(parents=True)
    record(session / "one.wav", -12.0)
    record(session / "deep" / "two.wav", -20.0)
    session.rename(inbox / "evening")
    told(watching, 2)
    assert len(rows(writer)) == 2


def test_a_network_folder_that_goes_away_and_comes_back(inbox, watch, writer, way):
    record(inbox / "old.wav")
    watching = watch()
    record(inbox / "new.wav", -20.0)
    told(watching, 1)
    away = inbox.rename(inbox.parent / "away")
    until(lambda: watching.view.watching is Watching.AWAY)
    record(away / "meanwhile.wav", -30.0)
    away.rename(inbox)
    assert [news.path.name for news in told(watching, 2)] == ["new.wav", "meanwhile.wav"]
    assert watching.view.watching is way
    assert len(rows(writer)) == 2


def test_a_folder_that_is_not_there_yet(inbox, watch, writer, quick):
    inbox.rmdir()
    watching = FolderWatch(inbox, find_part("bass"), writer, partial(is_logged, writer.path), settle_s=0.1)
    until(lambda: watching.view.watching is Watching.AWAY)
    inbox.mkdir()
    until(lambda: watching.view.watching is Watching.NATIVE)
    record(inbox / "take.wav")
    until(lambda: watching.view.logged == 1)
    assert watching.stop()


def test_another_folder_of_the_same_name_is_watched_instead(inbox, watch, writer):
    watching = watch()
    inbox.rename(inbox.parent / "put away")
    inbox.mkdir()
    path = record(inbox / "take.wav")
    assert told(watching, 1)[0].path == path


def test_what_is_no_sound_is_left_alone(inbox, watch, writer):
    watching = watch()
    (inbox / "notes.txt").write_text("play softer")
    record(inbox / "._take.wav")
    (inbox / ".trash").mkdir()
    record(inbox / ".trash" / "gone.wav")
    (inbox / "empty.wav").touch()
    record(inbox / "take.wav")
    assert [news.path.name for news in told(watching, 1)] == ["take.wav"]
    assert watching.view.known == 1


def test_a_broken_file_is_named_once_and_measured_when_it_is_mended(inbox, watch, writer):
    watching = watch()
    path = inbox / "take.wav"
    path.write_bytes(b"RIFF, and then the power went")
    (news,) = told(watching, 1)
    assert "take.wav" in news.problem.sentence
    assert (watching.view.unreadable, watching.view.waiting) == (1, 0)
    record(path)
    told(watching, 2)
    assert len(rows(writer)) == 1


def test_a_fault_in_measuring_one_file_stops_nothing(inbox, watch, writer, monkeypatch):
    real = folder_module.measure_take

    def faulty(path, *arguments, **options):
        if path.name == "bad.wav":
            raise ZeroDivisionError
        return real(path, *arguments, **options)

    monkeypatch.setattr(folder_module, "measure_take", faulty)
    watching = watch()
    record(inbox / "bad.wav")
    record(inbox / "good.wav", -20.0)
    names = {news.path.name: news.problem for news in told(watching, 2)}
    assert "ZeroDivisionError" in names["bad.wav"].sentence
    assert names["good.wav"] is None


def test_a_file_that_changes_while_it_is_measured_is_measured_again(inbox, watch, writer, monkeypatch):
    real, runs = folder_module.measure_take, []

    def slow(path, *arguments, **options):
        found = real(path, *arguments, **options)
        runs.append(found)
        if len(runs) == 1:
            record(path, -20.0, 2.0)
        return found

    monkeypatch.setattr(folder_module, "measure_take", slow)
    watching = watch()
    record(inbox / "take.wav", -12.0, 1.0)
    told(watching, 1)
    assert len(runs) == 2
    assert [row.duration_s for row in rows(writer)] == [2.0]


def test_a_log_that_cannot_be_asked_costs_nothing(inbox, watch, writer, monkeypatch):
    answers = [LogError("busy"), LogError("busy"), LogError("busy"), LogError("busy"), False]

    def ask(uid):
        answer = answers.pop(0)
        if isinstance(answer, LogError):
            raise answer
        return answer

    watching = FolderWatch(inbox, find_part("bass"), writer, ask, settle_s=0.05)
    until(lambda: watching.view.watching is Watching.NATIVE)
    record(inbox / "take.wav")
    until(lambda: watching.view.logged == 1)
    assert watching.stop()


def test_it_stops_in_the_middle_of_a_file(inbox, watch, writer, monkeypatch):
    def endless(path, profile, target, progress, **options):
        while True:
            progress(0.5)
            time.sleep(0.005)

    monkeypatch.setattr(folder_module, "measure_take", endless)
    watching = watch()
    record(inbox / "take.wav")
    until(lambda: watching.view.share == 0.5)
    assert watching.stop()
    assert rows(writer) == []


def test_the_system_that_refuses_to_watch_is_polled(inbox, watch, writer, monkeypatch):
    def refuse(self, *arguments, **options):
        raise OSError(28, "inotify watch limit reached")

    monkeypatch.setattr("watchdog.observers.api.BaseObserver.schedule", refuse)
    monkeypatch.setattr(folder_module, "_LIST_EVERY_S", {True: 20.0, False: 0.05})
    watching = watch()
    assert watching.view.watching is Watching.POLLING
    record(inbox / "take.wav")
    told(watching, 1)


def test_a_listing_names_sounds_only(tmp_path):
    record(tmp_path / "a.wav")
    (tmp_path / "sub").mkdir()
    record(tmp_path / "sub" / "b.WAV")
    (tmp_path / "c.txt").touch()
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "dangling.wav").symlink_to(tmp_path / "nothing")
    found = dict(sight.sounds_in(tmp_path))
    assert {path.name for path in found} == {"a.wav", "b.WAV"}
    assert all(isinstance(stamp, Stamp) and stamp.size > 44 for stamp in found.values())
    assert sight.stamp_of(tmp_path / "nowhere.wav") is None


def test_a_listing_of_nothing_raises(tmp_path):
    with pytest.raises(OSError, match="nowhere"):
        list(sight.sounds_in(tmp_path / "nowhere"))
    assert sight.identity(tmp_path / "nowhere") is None


def test_the_verdict_is_that_of_check(inbox, watch, writer):
    watching = watch()
    record(inbox / "loud.wav", 6.0, 2.0)
    told(watching, 1)
    (row,) = rows(writer)
    assert row.verdict is Verdict.AWASH
    assert row.clips > 0
