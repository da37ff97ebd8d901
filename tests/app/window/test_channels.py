"""The page of channels: the overview of many, and the row that names one and chooses its part."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from app.coach.judgement import Target, Verdict
from app.window.channelports import ChannelSeat
from app.window.channels import Channels
from app.window.main import MainWindow

FAIR, LOW, AWASH = Verdict.FAIR_WATER, Verdict.LOW_WATER, Verdict.AWASH


class Desk:
    def __init__(self) -> None:
        self.seats: dict[int, ChannelSeat] = {}
        self.spec = ""

    def opened(self, spec: str) -> None:
        self.spec = spec

    def seat(self, channel: int) -> ChannelSeat:
        return self.seats.get(channel, ChannelSeat())

    def seat_channel(self, channel: int, seat: ChannelSeat) -> None:
        self.seats[channel] = seat


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def window(qtbot: Any, world: Any, desk: Desk, fakes: Any) -> Any:
    world.engine.snapshot = fakes.running(FAIR, FAIR, AWASH, LOW)
    window = MainWindow(replace(world.services(), channels=desk))
    qtbot.addWidget(window)
    window.show()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    yield window
    window.shut_down()


def page_of(qtbot: Any, window: MainWindow) -> Channels:
    qtbot.keyClick(window, Qt.Key.Key_M)
    qtbot.waitUntil(lambda: window.pages.place == "channels")
    page = window.pages.page("channels")
    assert isinstance(page, Channels)
    qtbot.waitUntil(lambda: page.table.rowCount() > 0)
    return page


def put(world: Any, snapshot: Any) -> None:
    world.engine.snapshot = replace(snapshot, published_s=time.monotonic() + 60.0)


def column(page: Channels, number: int) -> list[str]:
    return [page.table.item(row, number).text() for row in range(page.table.rowCount())]


def test_the_worst_channel_comes_first_once_it_lasts(qtbot: Any, window: Any, world: Any, fakes: Any) -> None:
    page = page_of(qtbot, window)
    qtbot.waitUntil(lambda: page.order == (2, 3, 0, 1))
    assert column(page, 0) == ["3", "4", "1", "2"]
    assert column(page, 3)[0] == "Awash"
    assert column(page, 4)[0].startswith("Turn the gain down")
    put(world, fakes.running(FAIR, LOW, FAIR, AWASH))
    qtbot.waitUntil(lambda: column(page, 3)[:2] == ["Fair water", "Awash"])
    assert page.order == (2, 3, 0, 1), "what jumps at once cannot be clicked"
    qtbot.waitUntil(lambda: page.order == (3, 1, 0, 2))


@pytest.mark.parametrize("count", [1, 2, 8, 32])
def test_every_channel_has_a_row(qtbot: Any, window: Any, world: Any, fakes: Any, count: int) -> None:
    put(world, fakes.running(*[FAIR] * count))
    page = page_of(qtbot, window)
    qtbot.waitUntil(lambda: page.table.rowCount() == count)
    assert sorted(column(page, 0), key=int) == [str(number + 1) for number in range(count)]


def test_a_channel_is_named_and_cast_by_the_keyboard(qtbot: Any, window: Any, desk: Desk) -> None:
    page = page_of(qtbot, window)
    qtbot.waitUntil(lambda: page.order == (2, 3, 0, 1))
    page.table.setFocus()
    page.table.setCurrentCell(1, 1)
    assert page.channel == 3
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Tab)
    assert page.name_field.hasFocus()
    assert page.name_field.accessibleName() == "Name of channel 4"
    qtbot.keyClicks(page.name_field, "Big drum M")
    assert window.pages.place == "channels", "letters are letters while one writes"
    qtbot.keyClick(page.name_field, Qt.Key.Key_Tab)
    assert desk.seats[3] == ChannelSeat("Big drum M", "")
    assert page.part_box.accessibleName() == "Part of channel 4"
    assert page.part_box.itemText(0) == "As chosen above: Voice"
    assert set(column(page, 2)) == {"Voice"}, "what holds, whoever chose it"
    page.part_box.setCurrentIndex(page.part_box.findData("bass"))
    page.part_box.activated.emit(page.part_box.currentIndex())
    assert desk.seats[3] == ChannelSeat("Big drum M", "bass")
    qtbot.waitUntil(lambda: column(page, 2)[page.order.index(3)] == "Bass guitar")
    assert column(page, 2).count("Voice") == 3


def test_a_row_shows_its_channel_on_the_chart(qtbot: Any, window: Any) -> None:
    page = page_of(qtbot, window)
    qtbot.waitUntil(lambda: page.order == (2, 3, 0, 1))
    page.table.setFocus()
    page.table.setCurrentCell(3, 1)
    qtbot.keyClick(page.table, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: window.pages.place == "board" and window.channel == 1)


def test_the_session_goes_by_the_channels_own_part(qtbot: Any, window: Any, world: Any, desk: Desk) -> None:
    desk.seats[2] = ChannelSeat("", "bass")
    qtbot.waitUntil(lambda: window.channel == 2)
    qtbot.keyClick(window, Qt.Key.Key_G)
    qtbot.waitUntil(lambda: world.session_parts == ["bass"])
    assert desk.spec, "the desk was told which input is open"


def test_a_channel_gets_a_ceiling_of_its_own(qtbot: Any, window: Any, desk: Desk) -> None:
    page = page_of(qtbot, window)
    page._choose(2)
    assert page.ceiling_box.currentText() == "As usual: under −6 dBFS"
    page.ceiling_box.setFocus()
    qtbot.keyClick(page.ceiling_box, Qt.Key.Key_End)
    assert page.ceiling_box.currentText() == "Peaks under −18 dBFS"
    assert desk.seats[2].ceiling_dbfs == -18.0
    page._choose(1)
    assert page.ceiling_box.currentIndex() == 0
    desk.seats[0] = ChannelSeat(ceiling_dbfs=-10.0)
    page._choose(0)
    assert page.ceiling_box.currentText() == "Peaks under −10 dBFS"


def test_the_deck_lies_where_the_channels_ceiling_is(qtbot: Any, world: Any, desk: Desk, fakes: Any) -> None:
    usual = Target()
    services = replace(
        world.services(), channels=desk, target_of=lambda channel: usual.under(-12.0) if channel else usual
    )
    world.engine.snapshot = fakes.running(FAIR, AWASH)
    window = MainWindow(services)
    qtbot.addWidget(window)
    for channel, ceiling_dbfs in ((1, -12.0), (0, -6.0)):
        window.choose_channel(channel)
        window.look_at_engine()
        assert window.chart._target.ceiling_dbfs == ceiling_dbfs
    window.shut_down()
