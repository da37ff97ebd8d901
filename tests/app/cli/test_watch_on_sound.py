"""``swellmark watch --on-sound``: takes that begin with the first note and end after quiet or a set time."""

from __future__ import annotations

import importlib

import numpy as np
import pytest

from app.inputs.fake import FakeSource

RATE_HZ = 48_000
module = importlib.import_module("app.cli.watch")


def quiet(seconds):
    return 1e-4 * np.random.default_rng(1).standard_normal((round(seconds * RATE_HZ), 1)).astype(np.float32)


@pytest.fixture
def watch(run, monkeypatch):
    def watch(samples, *arguments):
        source = FakeSource(samples.astype(np.float32), name="Input 1")
        monkeypatch.setattr(module, "open_spec", lambda spec, *, paced: source)
        return run("watch", *arguments)

    return watch


@pytest.fixture
def takes(run, strict_json):
    return lambda: strict_json(run("takes", "list", "--json").stdout)["takes"]


def test_each_time_somebody_plays_is_a_take(watch, takes, phrases):
    playing = phrases(-15.0, seconds=6.0)
    samples = np.concatenate([quiet(4.0), playing, quiet(8.0), playing, quiet(6.0)])
    result = watch(samples, "--on-sound", "--quiet", "3", "--take", "Verse")
    second, first = takes()
    assert (first["name"], second["name"]) == ("Verse", "Verse")
    # A file comes a second at a time, live input in hundredths of one.
    assert 7.0 <= first["duration_s"] <= 11.0
    assert 7.0 <= second["duration_s"] <= 11.0
    assert {first["state"], second["state"]} == {"closed"}
    said = [line for line in result.stdout.splitlines() if line.startswith(("Waiting", "A take", "Take"))]
    assert said[0] == "Waiting for the first note."
    assert len([line for line in said if line.startswith("Take ")]) == 2, result.stdout


def test_nobody_plays(watch, takes):
    result = watch(quiet(6.0), "--on-sound")
    assert takes() == []
    assert "Nobody played: no take was begun." in result.stdout
    assert result.exit_code == 1


def test_a_take_has_a_set_length(watch, takes, phrases):
    watch(phrases(-15.0, seconds=8.0), "--take", "Short", "--length", "3")
    (take,) = takes()
    assert take["duration_s"] == 3.0


@pytest.mark.parametrize(
    ("arguments", "option"),
    [
        (("--quiet", "5"), "--quiet"),
        (("--quiet", "5", "--take", "x"), "--quiet"),
        (("--length", "5"), "--length"),
        (("--keep-clips",), "--keep-clips"),
    ],
)
def test_options_that_need_another_say_so(watch, arguments, option):
    result = watch(quiet(0.1), *arguments)
    assert result.exit_code == 2
    assert option in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_the_sound_around_a_clip_is_kept_only_when_asked(watch, phrases, tmp_path, run, strict_json):
    samples = phrases(-15.0, seconds=4.0)
    samples[96_000:96_008] = 1.0
    result = watch(samples, "--take", "Clipped")
    assert "is kept in" not in result.stdout
    result = watch(samples, "--take", "Clipped", "--keep-clips")
    (line,) = [line for line in result.stdout.splitlines() if "is kept in" in line]
    assert "takes-clips" in line
