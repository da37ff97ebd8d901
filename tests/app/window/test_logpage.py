"""The page with the take log, on a real log in a folder of the test's own."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QItemSelectionModel, Qt
from PySide6.QtGui import QAccessible

from app.coach.judgement import Verdict
from app.log.book import TakeBook
from app.log.parcel import read_parcel, write_parcel
from app.log.records import ChannelFigures, LevelTrace, TakeEvent, TakeState, TakeUpdate
from app.log.saving import save_events, save_take
from app.log.store import Store
from app.log.writer import LogWriter
from app.window.booklist import BookColumn, BookModel
from app.window.logpage import LogPage
from app.window.main import MainWindow
from app.window.pagelist import PAGES
from app.window.takeports import TakesServices
from app.window.theme import PALETTES, Theme

HOSTILE = ["=1+1", "<b>bold</b>", "two\nlines", "ערב של שירה", "x" * 5000, "\u202eoverride"]
EVENING_S = 86_400


def update(number: int, **changes: Any) -> TakeUpdate:
    """A take; each evening has ten."""
    points = np.array([[-1600, -900]] * 300, "<i2").tobytes()
    values: dict[str, Any] = {
        "uid": str(number),
        "name": f"Verse {number}",
        "part": "bass",
        "started_us": (1_700_000_000 + number // 10 * EVENING_S + number * 60) * 1_000_000,
        "utc_offset_s": 0,
        "input_spec": "player",
        "input_name": "Player",
        "rate_hz": 48_000,
        "state": TakeState.CLOSED,
        "frames": 48_000 * 30,
        "lost_frames": 0,
        "verdict": Verdict.FAIR_WATER,
        "per_channel": (ChannelFigures(-9.0, -16.0, -70.0, 0), ChannelFigures(-math.inf)),
        "trace": LevelTrace(0.1, points),
    }
    return TakeUpdate(**(values | changes))


@pytest.fixture
def log(tmp_path: Path) -> Iterator[LogWriter]:
    writer = LogWriter(tmp_path / "takes.sqlite")
    yield writer
    assert writer.close()


@pytest.fixture
def fill(log: LogWriter) -> Any:
    """Put takes into the log."""

    def fill(*updates: TakeUpdate, events: tuple[TakeEvent, ...] = ()) -> None:
        assert log.flush(30.0)
        with Store(log.path) as store, store.writing():
            for each in updates:
                number = save_take(store, each, None, "nobody")
                save_events(store, number, 0, events)

    return fill


@pytest.fixture
def opened(qtbot: Any, world: Any, log: LogWriter) -> Iterator[Any]:
    """Open the page on the log as it is by then."""
    windows = []

    def open_page() -> LogPage:
        services = replace(world.services(), takes=TakesServices(book=TakeBook(log)))
        window = MainWindow(services, pages=[spec for spec in PAGES if spec.name == "log"])
        windows.append(window)
        qtbot.addWidget(window)
        window.resize(1280, 800)
        window.show()
        window.activateWindow()
        window.pages.go_to("log")
        page = window.pages.page("log")
        assert isinstance(page, LogPage)
        qtbot.waitUntil(lambda: page.table.accessibleName() != "")
        return page

    yield open_page
    for window in windows:
        window.shut_down()


def cell(page: LogPage, place: int, column: BookColumn) -> str:
    return str(page.table.book.index(place, column).data())


def choose(page: LogPage, *places: int) -> None:
    selection, flag = page.table.selectionModel(), QItemSelectionModel.SelectionFlag
    for count, place in enumerate(places):
        index = page.table.book.index(place, 0)
        selection.select(index, (flag.Select if count else flag.ClearAndSelect) | flag.Rows)
    selection.setCurrentIndex(page.table.book.index(places[0], 0), flag.NoUpdate)
    page._choose()


def test_the_newest_take_is_chosen_and_shown(qtbot: Any, fill: Any, opened: Any) -> None:
    fill(*(update(i) for i in range(3)))
    page = opened()
    qtbot.waitUntil(lambda: cell(page, 0, BookColumn.NAME) == "Verse 2")
    qtbot.waitUntil(lambda: page.card.take is not None)
    assert page.card.take.row.name == "Verse 2"
    assert page.card.name_field.text() == "Verse 2"
    assert page.table.hasFocus()
    assert page.compare_button.isVisible()
    assert page.compare_button.isEnabled()


def test_an_empty_log_says_how_to_begin(qtbot: Any, opened: Any) -> None:
    page = opened()
    qtbot.waitUntil(page.empty.isVisible)
    assert "space bar" in page.empty.text()
    assert not page.delete_button.isEnabled()


def test_ten_thousand_takes_are_read_as_they_come_into_sight(qtbot: Any, fill: Any, opened: Any) -> None:
    fill(*(update(i, trace=None, per_channel=()) for i in range(10_000)))
    page = opened()
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 10_000)
    qtbot.waitUntil(lambda: cell(page, 0, BookColumn.NAME) == "Verse 9999")
    read = len(page.table.book._rows)
    assert read < 500
    page.table.scrollToBottom()
    qtbot.waitUntil(lambda: cell(page, 9_999, BookColumn.NAME) == "Verse 0")
    assert len(page.table.book._rows) < 2 * read + 500


def test_searching_and_the_marks(qtbot: Any, fill: Any, opened: Any, log: LogWriter) -> None:
    fill(*(update(i) for i in range(5)), update(7, name="Bridge"))
    page = opened()
    page.find_takes()
    qtbot.keyClicks(page.finder.search, "bridge")
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 1)
    qtbot.waitUntil(lambda: cell(page, 0, BookColumn.NAME) == "Bridge")
    qtbot.waitUntil(lambda: page.card.take is not None and page.card.take.row.name == "Bridge")
    page.toggle_kept()
    qtbot.waitUntil(lambda: page.table.book.row(6) is not None and page.table.book.row(6).kept)
    assert page.table.book.index(0, BookColumn.KEPT).data(Qt.ItemDataRole.AccessibleTextRole) == "to keep"
    qtbot.keyClick(page.finder.search, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 6)
    qtbot.keyClick(page.finder.kept_only, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 1)


def test_sessions_are_chosen_and_named(qtbot: Any, fill: Any, opened: Any, log: LogWriter) -> None:
    fill(*(update(i) for i in (1, 2, 11, 12, 13)))
    page = opened()
    qtbot.waitUntil(lambda: page.finder.sessions.count() == 3)
    page.finder.sessions.setCurrentIndex(2)
    page.finder.sessions.activated.emit(2)
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 2)
    assert page.finder.session_name.isVisible()
    page.finder.session_name.setFocus()
    qtbot.keyClicks(page.finder.session_name, "First evening")
    qtbot.keyClick(page.finder.session_name, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: "First evening" in page.finder.sessions.itemText(2))
    assert page.finder.sessions.currentIndex() == 2


def test_name_and_notes_are_written_down(qtbot: Any, fill: Any, opened: Any, log: LogWriter) -> None:
    fill(update(1), update(2))
    page = opened()
    qtbot.waitUntil(lambda: page.card.take is not None)
    page.card.name_field.selectAll()
    qtbot.keyClicks(page.card.name_field, "A softer pick")
    page.card.notes_field.setFocus()
    qtbot.keyClicks(page.card.notes_field, "the bridge was best")
    page.table.setFocus()
    qtbot.waitUntil(lambda: cell(page, 0, BookColumn.NAME) == "A softer pick")
    qtbot.waitUntil(lambda: page.card.take.row.notes == "the bridge was best")
    with Store(log.path) as store:
        row = store.take(2).row
    assert (row.name, row.notes) == ("A softer pick", "the bridge was best")


def test_what_is_being_written_survives_a_change_of_the_log(
    qtbot: Any, fill: Any, opened: Any, log: LogWriter
) -> None:
    fill(update(1))
    page = opened()
    qtbot.waitUntil(lambda: page.card.take is not None)
    page.card.name_field.setFocus()
    page.card.name_field.selectAll()
    qtbot.keyClicks(page.card.name_field, "half a na")
    TakeBook(log).mark(1, True)
    qtbot.waitUntil(lambda: page.card.take.row.kept)
    assert page.card.name_field.text() == "half a na"
    assert page.card.keep_box.isChecked()


def test_what_is_written_is_kept_when_the_window_closes(
    qtbot: Any, fill: Any, opened: Any, log: LogWriter
) -> None:
    fill(update(1))
    page = opened()
    qtbot.waitUntil(lambda: page.card.take is not None)
    page.card.name_field.selectAll()
    qtbot.keyClicks(page.card.name_field, "last words")
    page.window().close()
    assert log.flush(30.0)
    with Store(log.path) as store:
        assert store.take(1).row.name == "last words"


def test_deleting_and_bringing_back(qtbot: Any, fill: Any, opened: Any, log: LogWriter) -> None:
    fill(*(update(i) for i in range(5)))
    page = opened()
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 5)
    choose(page, 1, 2)
    qtbot.keyClick(page.table, Qt.Key.Key_Delete)
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 3)
    assert "2 takes deleted" in page.state.text()
    # The list goes on where the deleted takes lay.
    assert page.table.chosen == [page.table.book.number(1)]
    assert page.undo_button.isVisible()
    assert page.undo_button.accessibleName() == "Bring 2 takes back"
    qtbot.keyClick(page.table, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 5)
    assert page.table.chosen == [4, 3]
    assert not page.undo_button.isVisible()


def test_moving_to_another_session_and_back(qtbot: Any, fill: Any, opened: Any, log: LogWriter) -> None:
    fill(*(update(i) for i in (1, 2, 11)))
    page = opened()
    qtbot.waitUntil(lambda: page.move_box.count() == 3)
    page.move_box.setFocus()
    choose(page, 1, 2)
    for key in (Qt.Key.Key_A, Qt.Key.Key_1, Qt.Key.Key_End):  # nothing moves unseen
        qtbot.keyClick(page.move_box, key)
    assert page.move_box.currentIndex() == -1
    qtbot.keyClick(page.table, Qt.Key.Key_M, Qt.KeyboardModifier.ControlModifier)
    view = page.move_box.view()
    qtbot.waitUntil(view.isVisible)
    qtbot.keyClick(view, Qt.Key.Key_Home)
    qtbot.keyClick(view, Qt.Key.Key_Down)  # after the new one: the newest that is there
    qtbot.keyClick(view, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: [each.takes for each in page._book.sessions()] == [3])
    assert page.state.text() == "2 takes chosen · 2 takes moved to 2023-11-15."
    assert page.table.chosen == [2, 1]
    assert page.undo_button.accessibleName() == "Move 2 takes back"
    page.window().activateWindow()  # a screen in memory does not, when a list closes
    qtbot.waitUntil(page.table.hasFocus)
    qtbot.keyClick(page.table, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: [each.takes for each in page._book.sessions()] == [1, 2])
    assert "2 takes are in their sessions again." in page.state.text()
    assert not page.undo_button.isVisible()
    page.move_box.activated.emit(0)
    qtbot.waitUntil(lambda: [each.takes for each in page._book.sessions()] == [2, 1])
    assert "2 takes moved to a new session." in page.state.text()


def test_comparing_two_and_going_back(qtbot: Any, fill: Any, opened: Any) -> None:
    clips = (TakeEvent("clip", 48_000, 1, 7, 0.0),)
    fill(update(1))
    fill(update(2, per_channel=(ChannelFigures(0.0, -12.0, -70.0, 1),)), events=clips)
    page = opened()
    qtbot.waitUntil(lambda: page.table.book.rowCount() == 2)
    choose(page, 0, 1)
    qtbot.keyClick(page.table, Qt.Key.Key_V)
    qtbot.waitUntil(page.compared.isVisible)
    assert page.compared.verdict.text().startswith("Technically the safest is take 1: clips 0, take 2 has 1.")
    assert page.compared.table.columnCount() == 3
    qtbot.keyClick(page.compared.back_button, Qt.Key.Key_Escape)
    assert not page.compared.isVisible()
    assert page.isVisible()
    assert page.table.hasFocus()


def test_comparing_one_with_an_earlier_session(qtbot: Any, fill: Any, opened: Any, world: Any) -> None:
    fill(update(1), update(15), update(16))
    page = opened()
    qtbot.waitUntil(lambda: page.card.take is not None)
    page.compare_button.click()
    qtbot.waitUntil(page.compared.isVisible)
    assert "take" in page.compared.table.horizontalHeaderItem(2).text().lower()
    page.step_back()
    choose(page, 2)
    page.compare_button.click()
    window = page.window()
    assert isinstance(window, MainWindow)
    qtbot.waitUntil(lambda: any("No earlier session" in each.text for each in window.notices.messages))


def test_saving_and_sending(qtbot: Any, fill: Any, opened: Any, tmp_path: Path) -> None:
    fill(*(update(i, name=name) for i, name in enumerate(HOSTILE)))
    page = opened()
    qtbot.waitUntil(lambda: page.table.book.rowCount() == len(HOSTILE))
    choose(page, *range(len(HOSTILE)))
    assert "6 takes chosen" in page.state.text()
    path = tmp_path / "for you.html"
    page.save(path, write_parcel)
    qtbot.waitUntil(lambda: "for you.html" in page.state.text())
    found = read_parcel(path.read_text("utf-8"))
    assert found is not None
    assert [take["name"] for take in found["takes"]] == HOSTILE[::-1]


def test_hostile_names_are_shown_as_text_and_push_nothing_apart(qtbot: Any, fill: Any, opened: Any) -> None:
    fill(*(update(i, name=name) for i, name in enumerate(HOSTILE)))
    page = opened()
    qtbot.waitUntil(lambda: page.table.book.rowCount() == len(HOSTILE))
    width = page.window().width()
    for place, name in enumerate(reversed(HOSTILE)):
        choose(page, place)
        page.reader.want_take(page.table.chosen[0])
        qtbot.waitUntil(lambda name=name: page.card.take is not None and page.card.take.row.name == name)
        assert "\n" not in cell(page, place, BookColumn.NAME)
        assert page.window().width() == width
        assert page.card._title.textFormat() is Qt.TextFormat.PlainText


def test_what_happened_is_listed_with_its_place(qtbot: Any, fill: Any, opened: Any) -> None:
    fill(update(1), events=(TakeEvent("clip", 48_000, 1, 7, 0.0), TakeEvent("gap", 96_000, None, 480)))
    page = opened()
    qtbot.waitUntil(lambda: page.card.events.count() == 2)
    page.card.events.setCurrentRow(0)
    assert page.card.strip.chosen_s == 1.0
    assert page.card.events.item(0).text().startswith("0:01.000  channel 1: clip")
    assert not page.card.play_button.isVisible()


def test_everything_has_a_name_for_a_screen_reader(qtbot: Any, fill: Any, opened: Any) -> None:
    fill(update(1))
    page = opened()
    qtbot.waitUntil(lambda: page.card.take is not None)
    for stop in page.stops:
        interface = QAccessible.queryAccessibleInterface(stop)
        named = interface is not None and interface.text(QAccessible.Text.Name)
        assert named or stop is page.undo_button or stop is page.compared.table, stop


@pytest.mark.parametrize("palette", PALETTES)
def test_large_letters_in_a_small_window(qtbot: Any, fill: Any, opened: Any, palette: str) -> None:
    fill(*(update(i) for i in range(3)))
    page = opened()
    qtbot.waitUntil(lambda: page.card.take is not None)
    page.window().set_theme(Theme(palette, 2.0))
    page.window().resize(1024, 600)
    qtbot.waitUntil(lambda: page.window().width() <= 1024)
    assert not page.table.isColumnHidden(BookColumn.NAME)
    assert page.table.columnWidth(BookColumn.NAME) > 60
    assert page.grab().toImage().width() > 0


def test_the_model_passes_over_takes_that_are_gone() -> None:
    model = BookModel({})
    model.show_numbers([3, 2, 1])
    assert model.index(1, BookColumn.NAME).data() == "…"
    assert model.index(1, BookColumn.NUMBER).data() == "2"
    assert model.take_wanted() == [3, 2, 1]
    assert model.take_wanted() == []
    model.add_rows([])
    assert model.row(2) is None
    assert model.place_of(2) == 1
    assert model.place_of(9) == -1
    assert model.number(7) is None
