"""The view from afar, the strip, and clips that stay until they were seen."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QFont
from PySide6.QtWidgets import QApplication

from app.coach.judgement import Verdict
from app.window import afar
from app.window.afar import Afar, places
from app.window.glance import ClipWatch, glance_at
from app.window.legible import cap_height_mm, cap_height_px, distance_m, pixels_per_mm
from app.window.main import MainWindow
from app.window.strip import Strip
from app.window.theme import Theme


def activate(qtbot: Any, window: MainWindow) -> None:
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)


def test_capitals_fill_twenty_minutes_of_arc() -> None:
    height = cap_height_mm(3.0)
    assert math.degrees(math.atan(height / 3000)) * 60 == pytest.approx(20.0, abs=1e-3)
    assert height >= 3000 / 200
    assert distance_m(height) == pytest.approx(3.0)


class _Screen:
    def __init__(self, mm: tuple[float, float], px: tuple[int, int]) -> None:
        self._mm, self._px = mm, px

    def physicalSize(self) -> Any:
        return QSize(int(self._mm[0]), int(self._mm[1]))

    def geometry(self) -> QRectF:
        return QRectF(0, 0, *self._px)


@pytest.mark.parametrize(
    ("mm", "px", "known"),
    [
        ((344, 194), (1920, 1080), 5.567),
        ((0, 0), (1920, 1080), None),
        ((16, 9), (1920, 1080), None),
        ((16000, 9000), (1920, 1080), None),
    ],
)
def test_a_size_that_makes_no_sense_is_not_known(mm: Any, px: Any, known: float | None) -> None:
    found = pixels_per_mm(_Screen(mm, px))  # type: ignore[arg-type]
    assert found == (pytest.approx(known, abs=0.01) if known else None)
    assert pixels_per_mm(None) is None


@pytest.mark.parametrize("size", [(1024, 500), (2560, 1300), (600, 900), (320, 240)])
@pytest.mark.parametrize("clips", [True, False])
def test_nothing_lies_over_anything_else(size: tuple[int, int], clips: bool) -> None:
    found = places(QSize(*size), 0.4, clips=clips)
    rects = [found.picture, *found.lines, *([found.clips] if clips else [])]
    for rect in rects:
        assert QRectF(0, 0, *size).adjusted(-0.01, -0.01, 0.01, 0.01).contains(rect)
    for number, one in enumerate(rects):
        for other in rects[number + 1 :]:
            shared = one.intersected(other)
            assert shared.width() * shared.height() < 1e-6


@pytest.mark.parametrize("density", [1.9, 3.78, 5.6])
@pytest.mark.parametrize("size", [(1024, 600), (1920, 1080), (2560, 1440)])
def test_letters_are_as_high_as_three_metres_ask_where_there_is_room(
    qtbot: Any, monkeypatch: Any, density: float, size: tuple[int, int]
) -> None:
    monkeypatch.setattr(afar, "pixels_per_mm", lambda _screen: density)
    view = Afar(Theme())
    qtbot.addWidget(view)
    view.resize(*size)
    view.show()
    qtbot.waitUntil(lambda: view.board.legible_m is not None and view.board.width() > size[0] - 100)
    legible = view.board.legible_m
    assert legible is not None
    assert legible == pytest.approx(distance_m(view.board.cap_px / density))
    if size[1] / density > 300:  # a screen of 30 cm height
        assert legible >= 3.0


def test_an_unknown_size_is_said_to_be_unknown(qtbot: Any, monkeypatch: Any, fakes: Any) -> None:
    monkeypatch.setattr(afar, "pixels_per_mm", lambda _screen: None)
    view = Afar(Theme())
    qtbot.addWidget(view)
    view.show()
    view.show_glance(look(fakes, Verdict.FAIR_WATER))
    assert view.board.legible_m is None
    assert "does not say" in view.note


def look(fakes: Any, verdict: Verdict, **more: Any) -> Any:
    snapshot = fakes.running(verdict)
    options = {"old": False, "unseen_clips": 0, "take_s": None, **more}
    return glance_at(snapshot, 0, fakes.judgement(verdict, -4), **options)


def test_a_glance_has_a_word_a_number_and_the_headroom(fakes: Any) -> None:
    found = look(fakes, Verdict.HIGH_WATER, unseen_clips=3, take_s=64.0)
    assert (found.word, found.change, found.headroom) == ("High water", "Down 4 dB", "7.1 dB left")
    assert (found.clips, found.take) == ("3 clips", "Take 1:04")
    assert found.spoken == "High water. Down 4 dB. 7.1 dB left. 3 clips"


def test_an_old_reading_shows_no_verdict_but_keeps_the_clips(fakes: Any) -> None:
    found = look(fakes, Verdict.HIGH_WATER, old=True, unseen_clips=1)
    assert found.verdict is None
    assert found.word == "Old reading"
    assert "–" in found.headroom
    assert found.clips == "1 clip"


def test_clips_stay_until_they_were_seen(fakes: Any) -> None:
    watch = ClipWatch()
    clipped = fakes.running(Verdict.AWASH, Verdict.AWASH, clips=[2, 1])
    watch.look(clipped)
    watch.look(clipped)
    assert watch.unseen == 3
    watch.look(replace(clipped, clips=(0,)))  # another input, or the evidence let go
    assert watch.unseen == 3
    watch.look(replace(clipped, clips=(1,)))
    assert watch.unseen == 4
    watch.seen()
    watch.look(replace(clipped, clips=(1,)))
    assert watch.unseen == 0


def test_one_key_shows_the_verdict_from_afar_and_another_says_that_clips_were_seen(
    qtbot: Any, window: MainWindow, world: Any, fakes: Any
) -> None:
    world.engine.snapshot = fakes.running(Verdict.AWASH, clips=[2])
    activate(qtbot, window)
    qtbot.keyClick(window, Qt.Key.Key_2)
    qtbot.waitUntil(window.afar.board.isVisible)
    assert not window.chart.isVisible()

    def described() -> str:
        world.engine.refresh()
        return str(window.afar.board.accessibleDescription())

    qtbot.waitUntil(lambda: described().startswith("Awash") and "2 clips" in described())
    qtbot.waitUntil(window.afar.seen_button.isVisible)
    qtbot.keyClick(window, Qt.Key.Key_C)
    qtbot.waitUntil(lambda: "2 clips" not in described())
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert world.keeper.current is not None
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert window.chart.isVisible()


def test_the_strip_stays_above_and_its_keys_work(
    qtbot: Any, window: MainWindow, world: Any, fakes: Any
) -> None:
    world.engine.snapshot = fakes.running(Verdict.AWASH, clips=[2])
    activate(qtbot, window)
    qtbot.keyClick(window, Qt.Key.Key_S)
    strip = window.views.strip
    assert isinstance(strip, Strip)
    qtbot.waitUntil(strip.isVisible)
    assert strip.windowFlags() & Qt.WindowType.WindowStaysOnTopHint
    qtbot.waitUntil(strip.seen_button.isVisible)
    window.hide()
    assert window.look_every_ms <= 50, "it is still looked at"
    strip.activateWindow()
    qtbot.waitUntil(strip.isActiveWindow)
    qtbot.keyClick(strip, Qt.Key.Key_Space)
    assert world.keeper.current is not None
    qtbot.keyClick(strip, Qt.Key.Key_C)
    qtbot.waitUntil(lambda: not strip.seen_button.isVisible())
    qtbot.keyClick(strip, Qt.Key.Key_S)
    assert not strip.isVisible()
    assert window.isVisible(), "whoever closes the strip wants the window back"


def test_where_a_program_cannot_stay_on_top_it_says_so(
    qtbot: Any, window: MainWindow, monkeypatch: Any
) -> None:
    monkeypatch.setattr(Strip, "stays_on_top", staticmethod(lambda: False))
    window.views.toggle_strip(window.theme)
    qtbot.waitUntil(lambda: any("Always on top" in message.text for message in window.notices.messages))


def test_capitals_are_measured_in_the_font_that_is_drawn(qapp: QApplication) -> None:
    small, large = QFont(), QFont()
    small.setPixelSize(50)
    large.setPixelSize(100)
    assert cap_height_px(large) == pytest.approx(2 * cap_height_px(small), rel=0.05)
