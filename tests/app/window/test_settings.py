"""The page of settings."""

from __future__ import annotations

from typing import Any

import pytest
from PySide6.QtCore import Qt

from app.window import desktop
from app.window.chart import SeaChart
from app.window.looks import Looks
from app.window.main import MainWindow
from app.window.settings import Settings
from app.window.theme import Theme
from app.words import settings as words


@pytest.fixture
def page(qtbot: Any, window: MainWindow) -> Settings:
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    window.pages.go_to("settings")
    found = window.pages.page("settings")
    assert isinstance(found, Settings)
    return found


def choose(page: Settings, name: str) -> None:
    names = [action.name for action in page._tools.actions]
    page.table.selectRow(names.index(name))
    assert page.chosen is not None
    assert page.chosen.name == name


def test_a_new_key_is_given_by_pressing_it(
    qtbot: Any, window: MainWindow, page: Settings, world: Any
) -> None:
    choose(page, "take")
    qtbot.keyClick(page.new_key, Qt.Key.Key_Return)
    assert page.told == words.press_now("Begin the take, or end it")
    qtbot.keyClick(page.new_key, Qt.Key.Key_Right)
    assert window.keys.keys("take") == ("Space", "PgDown", "Right")
    assert page.told == words.key_given("Right arrow", "Begin the take, or end it")
    assert world.keeper.current is None, "while it was caught it did nothing else"
    qtbot.keyClick(page.new_key, Qt.Key.Key_Right)
    assert world.keeper.current is not None


def test_a_key_that_is_taken_is_not_taken_away(qtbot: Any, window: MainWindow, page: Settings) -> None:
    choose(page, "take")
    page.new_key.click()
    qtbot.keyClick(page.new_key, Qt.Key.Key_R)
    assert page.told == words.key_taken("R", "Start afresh")
    assert window.keys.keys("take") == ("Space", "PgDown")


def test_esc_leaves_the_key_as_it_is_and_then_the_page(
    qtbot: Any, window: MainWindow, page: Settings
) -> None:
    page.new_key.click()
    qtbot.keyClick(page.new_key, Qt.Key.Key_Escape)
    assert window.pages.place == "settings"
    assert page.told == ""
    qtbot.keyClick(page.new_key, Qt.Key.Key_Escape)
    assert window.pages.place == "board"


def test_a_key_with_modifiers_and_a_sign(qtbot: Any, window: MainWindow, page: Settings) -> None:
    choose(page, "afresh")
    page.new_key.click()
    qtbot.keyClick(page.new_key, Qt.Key.Key_Shift, Qt.KeyboardModifier.ShiftModifier)
    qtbot.keyClick(
        page.new_key, Qt.Key.Key_F7, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier
    )
    assert "Ctrl+Shift+F7" in window.keys.keys("afresh")
    page.new_key.click()
    qtbot.keyClick(page.new_key, "!", Qt.KeyboardModifier.ShiftModifier)
    assert "!" in window.keys.keys("afresh")


def test_buttons_say_the_new_key(window: MainWindow, page: Settings) -> None:
    window.keys.assign("take", ("F9",))
    window.keys.assign("afresh", ())
    assert window.take_button.text().endswith("F9")
    assert window.afresh.text() == "Start afresh"
    page.all_back.click()
    assert window.take_button.text().endswith("Space")


def test_going_back_keeps_a_key(window: MainWindow, page: Settings) -> None:
    choose(page, "back")
    page.no_key.click()
    assert window.keys.keys("back") == ("Esc",)
    choose(page, "look")
    page.no_key.click()
    assert window.keys.keys("look") == ()


def test_texts_colours_and_motion_change_at_once(window: MainWindow, page: Settings, world: Any) -> None:
    page.larger.click()
    assert window.theme.text_scale == 1.1
    page.smaller.click()
    before = window.theme.name
    page.colours.click()
    assert window.theme.name != before
    page.motion.setCurrentIndex(2)
    page.motion.activated.emit(2)
    assert window.theme.still
    assert world.memory["motion"] == "little"
    assert window.chart.frame_s >= 0.5


def test_without_a_choice_the_desktop_decides(qtbot: Any, world: Any, monkeypatch: Any) -> None:
    shown: list[Theme] = []
    monkeypatch.setattr(desktop, "palette_name", lambda: "light")
    monkeypatch.setattr(desktop, "wants_stillness", lambda: True)
    looks = Looks(world.memory, shown.append)
    looks.restore()
    assert shown[-1] == Theme("light", 1.0, True)
    looks.choose_motion("full")
    looks.next_palette()
    again = Looks(world.memory, shown.append)
    again.restore()
    assert shown[-1] == Theme("contrast", 1.0, False)


def test_the_chart_flows_unless_it_should_not(qtbot: Any) -> None:
    chart = SeaChart(Theme())
    qtbot.addWidget(chart)
    assert chart.frame_s < 0.1
    chart.set_theme(Theme(still=True))
    assert chart.frame_s == 1.0
