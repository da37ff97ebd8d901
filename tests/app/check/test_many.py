"""Many files at once: what comes out, in which order, and what happens when something goes wrong."""

from __future__ import annotations

import multiprocessing
import operator
import struct
import threading

import numpy as np
import pytest
import soundfile

from app.check import aside, many
from app.check.document import document
from app.check.many import Checking
from app.check.measure import check_file
from app.coach.parts import find_part

RATE_HZ = 8_000


@pytest.fixture
def folder(tmp_path):
    """Three takes of different lengths among what is no sound."""
    random = np.random.default_rng(3)
    for name, seconds in (("a", 5.0), ("b", 2.0), ("c", 3.3)):
        t_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
        wave_form = np.exp(-3.0 * (t_s % 0.7)) * np.sin(2 * np.pi * 220.0 * t_s)
        samples = np.stack((0.3 * wave_form, 0.8 * wave_form), axis=1)
        samples += 1e-4 * random.standard_normal(samples.shape)
        soundfile.write(tmp_path / f"{name}.wav", samples, RATE_HZ, subtype="PCM_24")
    (tmp_path / "bad.wav").write_text("no sound at all")
    (tmp_path / "notes.txt").write_text("verse, chorus")
    return tmp_path


@pytest.fixture
def endless(tmp_path):
    """Hours of silence that take no room on the disk."""
    size = 2_000_000_000
    path = tmp_path / "endless.wav"
    form = struct.pack("<IHHIIHH", 16, 1, 2, 48_000, 4 * 48_000, 4, 16)
    with path.open("wb") as file:
        file.write(
            b"RIFF" + struct.pack("<I", 36 + size) + b"WAVEfmt " + form + b"data" + struct.pack("<I", size)
        )
        file.truncate(44 + size)
    return path


def run(checking):
    steps = list(checking)
    return steps, {step.outcome.number: step.outcome for step in steps if step.outcome is not None}


def documents(outcomes):
    return [document([outcomes[number].check]) for number in sorted(outcomes) if outcomes[number].check]


@pytest.mark.parametrize("background", [False, True], ids=["within", "aside"])
def test_every_file_comes_out_as_if_it_were_measured_alone(folder, background):
    steps, outcomes = run(Checking([folder, folder / "gone.wav"], find_part("bass"), background=background))
    assert [outcomes[number].path.name for number in sorted(outcomes)] == [
        *("a.wav", "b.wav", "bad.wav", "c.wav", "gone.wav"),
    ]
    names = ("a.wav", "b.wav", "c.wav")
    assert documents(outcomes) == [document([check_file(folder / name, find_part("bass"))]) for name in names]
    for name in ("bad.wav", "gone.wav"):
        (outcome,) = (each for each in outcomes.values() if each.path.name == name)
        assert name in outcome.error.sentence
    assert {step.total for step in steps} == {5}
    assert steps[-1].done == 5
    assert steps[-1].share == pytest.approx(1.0)
    shares = [step.share for step in steps]
    assert shares == sorted(shares)
    assert multiprocessing.active_children() == []


def test_a_folder_without_sound_is_told_among_the_others(folder):
    (folder / "empty").mkdir()
    _, outcomes = run(Checking([folder / "empty", folder / "a.wav"], find_part("bass")))
    assert outcomes[0].error is not None
    assert outcomes[1].check is not None


def test_nothing_to_do_is_over_at_once():
    assert list(Checking([], find_part("bass"))) == []


@pytest.mark.parametrize("background", [False, True], ids=["within", "aside"])
def test_cancelling_from_another_thread_ends_it(folder, endless, background):
    threads = set(threading.enumerate())
    checking = Checking([folder / "b.wav", endless], find_part("bass"), background=background)
    seen = []
    for step in checking:
        seen.append(step)
        if step.done and step.outcome is None:  # the long one is under way
            canceller = threading.Thread(target=checking.cancel)
            canceller.start()
            canceller.join()
    assert checking.cancelled
    assert [step.outcome.path.name for step in seen if step.outcome] == ["b.wav"]
    assert seen[-1].share < 0.5
    assert multiprocessing.active_children() == []
    assert set(threading.enumerate()) == threads


def test_leaving_the_iteration_ends_the_processes(endless):
    steps = iter(Checking([endless, endless], find_part("bass")))
    next(steps)
    assert len(multiprocessing.active_children()) == min(2, aside.cores()) or aside.cores() == 1
    steps.close()
    assert multiprocessing.active_children() == []


def test_a_process_that_dies_takes_only_its_own_file_with_it(folder, endless):
    outcomes = []
    checking = Checking(
        [endless, folder / "a.wav", folder / "b.wav"], find_part("bass"), background=True, at_once=1
    )
    for step in checking:
        if step.share > 0.0 and not step.done:
            (process,) = multiprocessing.active_children()
            process.kill()
        if step.outcome is not None:
            outcomes.append(step.outcome)
    assert [outcome.path.name for outcome in outcomes] == ["endless.wav", "a.wav", "b.wav"]
    assert "endless.wav" in outcomes[0].error.sentence
    assert outcomes[1].check is not None
    assert outcomes[2].check is not None


def _refuse(*arguments):
    raise OSError("no more processes")


def test_where_there_are_no_processes_a_thread_measures(folder, monkeypatch):
    monkeypatch.setattr(aside, "start", _refuse)
    _, outcomes = run(Checking([folder], find_part("bass"), background=True))
    assert len(documents(outcomes)) == 3


def test_where_processes_end_before_they_begin_a_thread_measures(folder, monkeypatch):
    monkeypatch.setattr(many, "_serve_aside", operator.is_)
    _, outcomes = run(Checking([folder], find_part("bass"), background=True))
    assert len(documents(outcomes)) == 3


def test_a_fault_in_the_program_spoils_one_file(folder, monkeypatch):
    def sometimes(path, *arguments, **options):
        if path.name == "b.wav":
            raise ZeroDivisionError("by nothing")
        return check_file(path, *arguments, **options)

    monkeypatch.setattr(many, "check_file", sometimes)
    _, outcomes = run(Checking([folder], find_part("bass")))
    assert len(documents(outcomes)) == 2
    assert "ZeroDivisionError" in outcomes[1].error.sentence


def test_the_time_left_is_told_once_it_can_be(endless):
    checking = Checking([endless], find_part("bass"))
    seen = []
    for step in checking:
        seen.append(step.seconds_left)
        if step.seconds_left is not None:
            checking.cancel()
    assert seen[0] is None
    assert seen[-1] > 0.0
