"""Pages in the board's place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QPushButton

from app.coach.judgement import Verdict
from app.window.actions import BOARD
from app.window.main import MainWindow
from app.window.pagelist import PAGES
from app.window.pages import Page, PageSpec, PageTools


class Ledger(Page):
    """A page that writes down what is done to it."""

    def __init__(self, tools: PageTools) -> None:
        super().__init__()
        self.tools = tools
        self.told: list[Any] = []
        self.on_top = False
        self.button, self.field = QPushButton("Do"), QLineEdit()
        layout = QHBoxLayout(self)
        layout.addWidget(self.button)
        layout.addWidget(self.field)
        self.stops = (self.button, self.field)

    def enter(self) -> None:
        self.told.append("enter")

    def leave(self) -> None:
        self.told.append("leave")

    def show_state(self, snapshot: Any, now_s: float, channel: int) -> None:
        if "state" not in self.told:
            self.told.append("state")

    def take_paths(self, paths: Sequence[Path]) -> None:
        self.told.append([path.name for path in paths])

    def step_back(self) -> bool:
        was, self.on_top = self.on_top, False
        return was

    def shut_down(self) -> None:
        self.told.append("end")


def spec(name: str, key: str, suffix: str = "") -> PageSpec:
    return PageSpec(
        name,
        name.title,
        lambda: f"The {name}.",
        key,
        Ledger,
        accepts=lambda paths: bool(suffix) and all(path.suffix == suffix for path in paths),
    )


@pytest.fixture
def paged(qtbot: Any, world: Any) -> Iterator[MainWindow]:
    window = MainWindow(world.services(), pages=(spec("ledger", "F5", ".wav"), spec("other", "F6", ".mid")))
    qtbot.addWidget(window)
    window.show()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    yield window
    window.shut_down()


def ledger(window: MainWindow) -> Ledger:
    page = window.pages.page("ledger")
    assert isinstance(page, Ledger)
    return page


def test_a_page_is_made_when_it_is_first_opened_and_kept(qtbot: Any, paged: MainWindow) -> None:
    assert paged.pages.page("ledger") is None
    qtbot.keyClick(paged, Qt.Key.Key_F5)
    first = ledger(paged)
    assert first.isVisible()
    assert not paged.chart.isVisible()
    qtbot.keyClick(first, Qt.Key.Key_F5)
    qtbot.keyClick(paged, Qt.Key.Key_F5)
    assert ledger(paged) is first
    assert first.told[:2] == ["enter", "leave"]
    assert first.accessibleName() == "Ledger"


def test_focus_goes_to_the_page_and_comes_back(qtbot: Any, paged: MainWindow) -> None:
    paged.picker.inputs.setFocus()
    qtbot.keyClick(paged.picker.inputs, Qt.Key.Key_F5)
    assert paged.focusWidget() is ledger(paged).button
    qtbot.keyClick(ledger(paged).button, Qt.Key.Key_Escape)
    assert paged.pages.place == BOARD
    assert paged.focusWidget() is paged.picker.inputs


def test_esc_first_closes_what_lies_on_top_in_the_page(qtbot: Any, paged: MainWindow) -> None:
    qtbot.keyClick(paged, Qt.Key.Key_F5)
    ledger(paged).on_top = True
    qtbot.keyClick(ledger(paged).button, Qt.Key.Key_Escape)
    assert paged.pages.place == "ledger"
    qtbot.keyClick(ledger(paged).button, Qt.Key.Key_Escape)
    assert paged.pages.place == BOARD


def test_a_page_may_close_itself_and_open_another(qtbot: Any, paged: MainWindow) -> None:
    qtbot.keyClick(paged, Qt.Key.Key_F5)
    ledger(paged).tools.go_to("other")
    assert paged.pages.place == "other"
    other = paged.pages.page("other")
    assert other is not None
    other.closed.emit()
    assert paged.pages.place == BOARD


def test_the_take_goes_on_while_a_page_is_open(qtbot: Any, paged: MainWindow, world: Any, fakes: Any) -> None:
    world.engine.snapshot = fakes.running(Verdict.HIGH_WATER)
    qtbot.keyClick(paged, Qt.Key.Key_F5)
    qtbot.keyClick(ledger(paged).button, Qt.Key.Key_Space)
    assert world.keeper.current is not None
    qtbot.waitUntil(lambda: "state" in ledger(paged).told)
    assert paged.line.isVisible()
    qtbot.waitUntil(lambda: "0:12" in " ".join(label.text() for label in paged.line.labels))
    qtbot.keyClick(ledger(paged).button, Qt.Key.Key_Space)
    assert world.keeper.current is None


def test_the_foot_leads_everywhere_and_shows_where_it_is(qtbot: Any, paged: MainWindow) -> None:
    buttons = paged.foot.buttons
    assert buttons["ledger"].accessibleName() == "Ledger  ·  F5"
    qtbot.mouseClick(buttons["ledger"], Qt.MouseButton.LeftButton)
    assert paged.pages.place == "ledger"
    assert [name for name, button in buttons.items() if button.isChecked()] == ["ledger"]
    qtbot.mouseClick(buttons["other"], Qt.MouseButton.LeftButton)
    qtbot.mouseClick(buttons[BOARD], Qt.MouseButton.LeftButton)
    assert paged.pages.place == BOARD
    assert [name for name, button in buttons.items() if button.isChecked()] == [BOARD]


def test_files_are_dropped_for_the_page_that_is_for_them(qtbot: Any, paged: MainWindow) -> None:
    def drop(name: str) -> bool:
        data = QMimeData()
        data.setUrls([QUrl.fromLocalFile(f"/tmp/{name}")])
        enter = QDragEnterEvent(
            QPoint(5, 5),
            Qt.DropAction.CopyAction,
            data,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
        enter.ignore()
        paged.dragEnterEvent(enter)
        if enter.isAccepted():
            paged.dropEvent(
                QDropEvent(
                    QPointF(5, 5),
                    Qt.DropAction.CopyAction,
                    data,
                    Qt.MouseButton.LeftButton,
                    Qt.KeyboardModifier.NoModifier,
                )
            )
        return enter.isAccepted()

    assert not drop("letter.txt")
    assert paged.pages.place == BOARD
    assert drop("take.wav")
    assert paged.pages.place == "ledger"
    assert ["take.wav"] in ledger(paged).told
    assert drop("bars.mid")
    assert paged.pages.place == "other"


def test_pages_end_with_the_window(qtbot: Any, paged: MainWindow) -> None:
    qtbot.keyClick(paged, Qt.Key.Key_F5)
    page = ledger(paged)
    paged.shut_down()
    assert page.told[-1] == "end"


def test_every_page_of_the_program_opens_and_is_reached_by_a_key_of_its_own(
    qtbot: Any, window: MainWindow
) -> None:
    keys = [spec.key for spec in PAGES]
    assert len(set(keys)) == len(keys)
    for one in PAGES:
        for key in window.keys.keys(one.name):
            assert window.keys.holder(key, one.name) is None, (one.name, key)
        window.pages.go_to(one.name)
        page = window.pages.page(one.name)
        assert page is not None
        assert page.isVisible()
        assert one.title()
        assert one.tip()
    window.pages.go_to(BOARD)
