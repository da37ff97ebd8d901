"""What is run, and that the requirements are the standards' own."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path

import app.conform
from app.conform import trials
from app.conform.catalogue import RATES_HZ

SYNTHESISABLE_3341 = [n for n in range(1, 24) if n not in (7, 8)]


def test_every_case_that_can_be_synthesised_is_run_at_every_rate():
    everything = list(trials())
    for rate_hz in RATES_HZ:
        sources = {case.source for trial in everything if trial.rate_hz == rate_hz for case in trial.cases}
        assert {f"EBU Tech 3341 case {n}" for n in SYNTHESISABLE_3341} <= sources
        assert {f"EBU Tech 3342 case {n}" for n in range(1, 5)} <= sources
        assert {"IEC 60268-17", "AES17", "ITU-R BS.1770-5 Annex 1"} <= sources


def test_no_figure_is_listed_twice():
    names = Counter((case.source, case.name) for trial in trials() for case in trial.cases)
    assert [name for name, count in names.items() if count > 1] == []


def test_tolerances_are_never_negative():
    for trial in trials():
        for case in trial.cases:
            assert case.tolerance_low >= 0.0
            assert case.tolerance_high >= 0.0


def test_requirements_know_nothing_of_the_stages():
    """The modules that state what is required import no measurement, only types, decibels and names."""
    allowed = {"dsp.types", "dsp.decibels", "dsp.reading"}
    folder = Path(app.conform.__file__).parent
    for path in (*folder.glob("*_cases.py"), folder / "signals.py", folder / "scenes.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        imported = {
            node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module
        }
        assert {module for module in imported if module.startswith("dsp")} <= allowed, path.name
