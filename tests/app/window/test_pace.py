"""How often pictures come, and what the engine is told about it."""

from __future__ import annotations

import time
from typing import Any

import pytest
from PySide6.QtWidgets import QWidget

from app.window.actions import BOARD
from app.window.main import MainWindow
from app.window.pace import Pace
from app.window.pagelist import WORDS


@pytest.mark.parametrize("need_s", [0.0, 0.1])
@pytest.mark.parametrize("frame_s", [1 / 64, 1 / 48, 1 / 32, 1.0])
def test_a_picture_lasts_until_the_tick_at_which_it_is_replaced(
    qtbot: Any, frame_s: float, need_s: float
) -> None:
    widget = QWidget()
    qtbot.addWidget(widget)
    pace = Pace(widget, lambda: None)
    pace.go(seen=True)
    pace.follow(need_s)
    tick_s = pace.every_ms / 1000.0
    ticks = next(count for count in range(1, 1000) if pace.is_due(count * tick_s, frame_s))
    assert pace.lasts_s(frame_s) == pytest.approx(ticks * tick_s)
    pace.stop()


def test_it_looks_no_oftener_than_pictures_are_needed(qtbot: Any) -> None:
    widget = QWidget()
    qtbot.addWidget(widget)
    pace = Pace(widget, lambda: None)
    pace.go(seen=True)
    tick_ms = pace.every_ms
    pace.follow(2 * pace.tick_s)
    assert pace.every_ms == 2 * tick_ms
    pace.go(seen=False)
    assert pace.every_ms >= 100
    pace.follow(0.1)
    pace.go(seen=True)
    assert 80 <= pace.every_ms <= 110
    pace.stop()
    pace.follow(0.0)
    assert pace.every_ms == 0, "who has stopped does not begin again"


def test_the_engine_knows_when_the_next_picture_comes(qtbot: Any, window: MainWindow, world: Any) -> None:
    world.engine.looks = None
    qtbot.waitUntil(lambda: world.engine.looks is not None)
    next_s, every_s = world.engine.looks
    assert 0.01 < every_s < 0.05
    assert next_s - time.monotonic() <= every_s
    window.pages.go_to(WORDS)
    qtbot.waitUntil(lambda: world.engine.looks[1] == pytest.approx(0.1))
    window.pages.go_to(BOARD)
    qtbot.waitUntil(lambda: world.engine.looks[1] == pytest.approx(every_s))


def test_nothing_is_drawn_while_nobody_can_see_it(
    qtbot: Any, window: MainWindow, world: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    pictures: list[float] = []
    show = window.chart.show_state
    monkeypatch.setattr(window.chart, "show_state", lambda *args: (pictures.append(0.0), show(*args)))
    qtbot.waitUntil(lambda: len(pictures) > 2)
    for leave, come_back in ((window.hide, window.show), (window.showMinimized, window.showNormal)):
        leave()
        qtbot.waitUntil(lambda: not world.engine.seen)
        pictures.clear()
        qtbot.wait(600)
        assert not pictures
        come_back()
        qtbot.waitUntil(lambda: len(pictures) > 2)
        assert world.engine.seen
