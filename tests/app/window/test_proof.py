"""The run of the test signals in the window: every result shown, misses first, ended early with no trace."""

from __future__ import annotations

import threading

import pytest

from app.conform.case import Case, Result
from app.window.proof import Proof
from app.window.theme import Theme

WAIT_MS = 20_000


def _result(name, measured, *, passed):
    return Result(Case(name, "a standard", lambda _: 0.0, -18.0, 0.1, 0.1, "dBFS"), measured, passed)


@pytest.fixture
def open_proof(qtbot):
    def make(prove):
        proof = Proof(Theme(), prove)
        qtbot.addWidget(proof)
        proof.show()
        return proof

    return make


def _names(proof):
    return [proof.table.item(row, 0).text() for row in range(proof.table.rowCount())]


def test_every_result_is_shown_and_misses_stand_first(qtbot, open_proof):
    results = [_result("a", -18.01, passed=True), _result("b", -17.0, passed=False)]
    results += [_result("c", -18.0, passed=True), _result("d", -20.0, passed=False)]
    proof = open_proof(lambda: iter(results))
    proof.begin()
    qtbot.waitUntil(lambda: not proof.is_running, timeout=WAIT_MS)
    assert _names(proof) == ["b", "d", "a", "c"]
    assert proof.table.item(0, 1).text() == "−17.00 dBFS"
    assert proof.table.item(2, 4).text() != proof.table.item(0, 4).text()
    assert "2" in proof._title.text()
    assert "4" in proof._title.text()


def test_a_run_can_be_repeated(qtbot, open_proof):
    proof = open_proof(lambda: iter([_result("a", -18.0, passed=True)]))
    for _ in range(2):
        proof.begin()
        qtbot.waitUntil(lambda: not proof.is_running, timeout=WAIT_MS)
        assert _names(proof) == ["a"]


def test_leaving_ends_the_run_and_its_thread(qtbot, open_proof):
    ended = threading.Event()

    def endless():
        try:
            while True:
                yield _result("again", -18.0, passed=True)
        finally:
            ended.set()

    proof = open_proof(endless)
    proof.begin()
    qtbot.waitUntil(lambda: proof.table.rowCount() > 0, timeout=WAIT_MS)
    proof.leave()
    qtbot.waitUntil(lambda: not proof.is_running, timeout=WAIT_MS)
    assert ended.is_set()
    assert "within" not in proof._title.text()
    proof.begin()
    proof.shut_down()
    assert not proof.is_running
    assert "swellmark-proof" not in {thread.name for thread in threading.enumerate()}


def test_a_run_that_breaks_says_so(qtbot, open_proof):
    def broken():
        yield _result("a", -18.0, passed=True)
        raise ArithmeticError("no sense")

    proof = open_proof(broken)
    proof.begin()
    qtbot.waitUntil(lambda: not proof.is_running, timeout=WAIT_MS)
    assert "no sense" in proof._title.text()
