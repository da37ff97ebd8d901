"""``swellmark conform``: the table, the JSON document and the exit status."""

from __future__ import annotations

import importlib
import json
import math

import pytest
from click.testing import CliRunner

from app import conform
from app.cli import main
from app.conform import Case, Trial
from app.conform.signals import SILENCE, stereo, tone

# The module shares its name with the command in it.
module = importlib.import_module("app.cli.conform")


def trial(level, *cases):
    return Trial(48000, 2, lambda: tone(48000, stereo((1, level))), cases)


GOOD = Case("integrated loudness", "case 1", lambda m: m.summary.integrated_lufs, -23.0, 0.1, 0.2, "LUFS")
UNKNOWN = Case("loudness range", "case 2", lambda m: m.summary.range_lu, 10.0, 1.0, 1.0, "LU")
COUNT = Case("clips", "case 3", lambda m: float(len(m.clips)), 0.0, 0.0, 0.0)


@pytest.fixture
def runs(monkeypatch):
    def run(trials, *arguments):
        monkeypatch.setattr(module, "trials", lambda: iter(trials))
        monkeypatch.setattr(module, "run_catalogue", lambda: conform.run(trials))
        return CliRunner().invoke(main, ["conform", *arguments])

    return run


def test_all_met_is_status_0(runs):
    done = runs([trial(-23.0, GOOD, COUNT)])
    assert done.exit_code == 0
    assert "case 1" in done.output
    assert "−23.00 LUFS" in done.output
    assert "+0.2 −0.1" in done.output
    assert "missed" not in done.output
    assert "All 2 figures are within their tolerance." in done.output


def test_one_missed_is_status_1_and_named_again_at_the_end(runs):
    done = runs([trial(-22.0, GOOD, COUNT)])
    assert done.exit_code == 1
    in_place, at_the_end = [line for line in done.output.splitlines() if "missed" in line]
    assert "integrated loudness" in in_place
    assert at_the_end == in_place
    assert "1 of 2 figures are within their tolerance." in done.output


def test_json_is_one_document_with_null_for_unknown(runs):
    done = runs([trial(-23.0, GOOD), trial(SILENCE, UNKNOWN, GOOD)], "--json")
    assert done.exit_code == 1
    document = json.loads(done.stdout, parse_constant=pytest.fail)
    assert document["passed"] is False
    good, unknown, silent = document["cases"]
    assert good["passed"] is True
    assert math.isclose(good.pop("measured"), -23.0, abs_tol=0.05)
    assert good == {
        "source": "case 1",
        "name": "integrated loudness",
        "required": -23.0,
        "tolerance_low": 0.1,
        "tolerance_high": 0.2,
        "unit": "LUFS",
        "passed": True,
    }
    assert (unknown["measured"], unknown["passed"]) == (None, False)
    assert (silent["measured"], silent["passed"]) == (None, False)
