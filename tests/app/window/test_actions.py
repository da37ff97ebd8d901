"""The table of what keys do."""

from __future__ import annotations

from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QLineEdit, QListWidget, QPushButton, QSlider, QVBoxLayout, QWidget

from app.window.actions import BOARD, Action, Actions, keeps, key_text


@pytest.fixture
def place(qtbot: Any) -> QWidget:
    widget = QWidget()
    layout = QVBoxLayout(widget)
    for child in (QPushButton(), QSlider(), QLineEdit(), QListWidget()):
        layout.addWidget(child)
    widget.findChild(QListWidget).addItems(["one", "two"])
    qtbot.addWidget(widget)
    widget.show()
    widget.activateWindow()
    qtbot.waitUntil(widget.isActiveWindow)
    return widget


@pytest.fixture
def done() -> list[str]:
    return []


@pytest.fixture
def actions(place: QWidget, world: Any, done: list[str]) -> Actions:
    table = Actions(place, world.memory)
    table.add(
        Action("take", "Begin", lambda: done.append("take"), ("Space", "PgDown")),
        Action("why", "Explain", lambda: done.append("why"), ("W",), BOARD),
        Action("write", "Write", lambda: done.append("write"), ("W",), "log"),
    )
    return table


def press(qtbot: Any, place: QWidget, kind: type[QWidget], key: Qt.Key) -> None:
    widget = place.findChild(kind)
    widget.setFocus()
    qtbot.keyClick(widget, key)


def test_a_key_does_what_the_table_says(
    qtbot: Any, place: QWidget, actions: Actions, done: list[str]
) -> None:
    press(qtbot, place, QPushButton, Qt.Key.Key_Space)
    assert done == ["take"]
    assert actions.key_text("take") == "Space"


def test_a_key_that_the_user_chose_is_remembered_and_the_old_one_rests(
    qtbot: Any, place: QWidget, actions: Actions, done: list[str], world: Any
) -> None:
    actions.assign("take", ("F7", "F7", "PgUp"))
    press(qtbot, place, QPushButton, Qt.Key.Key_PageDown)
    assert done == []
    press(qtbot, place, QPushButton, Qt.Key.Key_F7)
    assert done == ["take"]
    again = Actions(QWidget(place), world.memory)
    again.add(Action("take", "Begin", lambda: None, ("Space",)))
    assert again.keys("take") == ("F7", "PgUp")
    again.restore()
    assert again.keys("take") == ("Space",)


def test_an_action_may_have_no_key(actions: Actions, world: Any, place: QWidget) -> None:
    actions.assign("take", ())
    assert actions.key_text("take") == ""
    again = Actions(QWidget(place), world.memory)
    again.add(Action("take", "Begin", lambda: None, ("Space",)))
    assert again.keys("take") == ()


def test_nonsense_in_the_memory_is_no_key(world: Any, place: QWidget) -> None:
    world.memory["keys_take"] = "\n\n"
    table = Actions(place, world.memory)
    table.add(Action("take", "Begin", lambda: None, ("Space",)))
    assert table.keys("take") == ()


def test_places_may_share_a_key_and_only_the_present_one_hears_it(
    qtbot: Any, place: QWidget, actions: Actions, done: list[str]
) -> None:
    assert actions.holder("W", "write") is None
    press(qtbot, place, QPushButton, Qt.Key.Key_W)
    actions.enter("log")
    press(qtbot, place, QPushButton, Qt.Key.Key_W)
    assert done == ["why", "write"]


def test_a_key_that_works_everywhere_is_nobody_elses(actions: Actions) -> None:
    found = actions.holder("Space", "write")
    assert found is not None
    assert found.name == "take"
    found = actions.holder("W", "take")
    assert found is not None
    assert found.name == "why"


def test_on_the_board_a_pedal_begins_the_take_wherever_the_focus_was_left(
    qtbot: Any, place: QWidget, actions: Actions, done: list[str]
) -> None:
    for kind in (QPushButton, QSlider, QListWidget, QLineEdit):
        press(qtbot, place, kind, Qt.Key.Key_PageDown)
    assert done == ["take"] * 4


def test_on_a_page_lists_scroll(qtbot: Any, place: QWidget, actions: Actions, done: list[str]) -> None:
    actions.enter("log")
    press(qtbot, place, QListWidget, Qt.Key.Key_PageDown)
    assert done == []
    assert place.findChild(QListWidget).currentRow() == 1
    press(qtbot, place, QPushButton, Qt.Key.Key_PageDown)
    assert done == ["take"]


def test_arrows_can_be_a_pedals_and_stay_with_what_needs_them(
    qtbot: Any, place: QWidget, actions: Actions, done: list[str]
) -> None:
    actions.assign("take", ("Right",))
    before = place.findChild(QSlider).value()
    press(qtbot, place, QSlider, Qt.Key.Key_Right)
    assert done == []
    assert place.findChild(QSlider).value() != before
    press(qtbot, place, QPushButton, Qt.Key.Key_Right)
    assert done == ["take"]


def test_who_keeps_what(qtbot: Any) -> None:
    combo = QComboBox()
    qtbot.addWidget(combo)
    assert keeps(combo, "Up", on_page=False)
    assert not keeps(combo, "PgUp", on_page=False)
    assert keeps(combo, "PgUp", on_page=True)
    assert not keeps(combo, "R", on_page=True)
    assert not keeps(None, "Up", on_page=True)


def test_keys_are_called_what_people_call_them() -> None:
    assert key_text("PgDown") == "Page Down"
    assert key_text("Space") == "Space"
    assert key_text("F1") == "F1"
