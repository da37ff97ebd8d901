"""The parts of the window, each by itself."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontMetrics
from PySide6.QtWidgets import QLabel

from app.coach.judgement import Verdict
from app.log.records import TakeState
from app.window.banner import Banner, Message
from app.window.card import VerdictCard
from app.window.controls import announce
from app.window.figures import Figures
from app.window.fit import LEAST_PIXELS, fitting_pixels
from app.window.harbour import Harbour
from app.window.picker import Picker
from app.window.services import InputChoice, PartChoice
from app.window.takelist import Column, TakeLine, TakesModel
from app.window.takes import Happenings, Takes
from app.window.theme import Theme, Type, style_sheet
from app.words import card as card_words
from app.words import picker as picker_words
from app.words import takes as words

# The card


@pytest.mark.parametrize("verdict", Verdict)
def test_the_card_says_verdict_advice_and_reason(qtbot: Any, verdict: Verdict, fakes: Any) -> None:
    card = VerdictCard(Theme())
    qtbot.addWidget(card)
    card.show_judgement(fakes.judgement(verdict, -4), "", old=False)
    texts = [label.text() for label in card.findChildren(QLabel)]
    assert all(texts[:3])
    assert texts[0].casefold().replace(" ", "_") == verdict.value
    assert card.accessibleDescription() == ". ".join(text.rstrip(".") for text in texts[:3])


def test_an_old_judgement_is_not_shown_as_if_it_held(qtbot: Any, fakes: Any) -> None:
    card = VerdictCard(Theme())
    qtbot.addWidget(card)
    card.show_judgement(fakes.judgement(Verdict.FAIR_WATER), "", old=False)
    card.show_judgement(fakes.judgement(Verdict.FAIR_WATER), "", old=True)
    texts = [label.text() for label in card.findChildren(QLabel)]
    assert texts == [card_words.old_reading(), "", "", ""]


def test_the_verdict_can_be_read_at_two_metres(qtbot: Any, fakes: Any) -> None:
    card = VerdictCard(Theme())
    qtbot.addWidget(card)
    card.resize(384, 456)
    card.show()
    card.show_judgement(fakes.judgement(Verdict.HIGH_WATER, -4), "", old=False)
    word = card.findChildren(QLabel)[0]
    card.ensurePolished()
    # 10 minutes of arc at 2 m are 5.8 mm; on the usual 96 dots an inch that is 22 pixels.
    assert word.fontMetrics().capHeight() >= 22
    assert word.fontMetrics().horizontalAdvance(word.text()) < word.width()


# The figures


def test_digits_keep_their_places(qtbot: Any, fakes: Any) -> None:
    figures = Figures(Theme())
    qtbot.addWidget(figures)
    figures.resize(860, 70)
    figures.show()
    places: list[list[QRect]] = []
    for level in (-8.1, -18.4, -71.0, -0.0):
        snapshot = replace(fakes.running(), average_dbfs=(level,), peak_hold_dbfs=(level,))
        figures.show_state(snapshot, 0, old=False)
        places.append([label.geometry() for label in figures.findChildren(QLabel) if label.text()])
    assert all(these == places[0] for these in places)


def test_figures_have_a_true_minus_and_a_dash_for_what_is_not_known(qtbot: Any, fakes: Any) -> None:
    figures = Figures(Theme())
    qtbot.addWidget(figures)
    snapshot = replace(fakes.running(), noise_floor_dbfs=(math.nan,), average_dbfs=(-math.inf,))
    figures.show_state(snapshot, 0, old=False)
    texts = {label.text() for label in figures.findChildren(QLabel)}
    assert {"−∞", "−7.1", "7.1", "–"} <= texts
    figures.show_state(snapshot, 0, old=True)
    texts = {label.text() for label in figures.findChildren(QLabel)}
    assert "−7.1" not in texts


def test_clips_are_counted_beside_the_hold(qtbot: Any, fakes: Any) -> None:
    figures = Figures(Theme())
    qtbot.addWidget(figures)
    figures.show_state(fakes.running(Verdict.AWASH, clips=[3]), 0, old=False)
    assert "3 clips" in {label.text() for label in figures.findChildren(QLabel)}


# The banner


def test_the_banner_shows_the_first_message_and_counts_the_rest(qtbot: Any) -> None:
    banner = Banner(Theme())
    qtbot.addWidget(banner)
    banner.show_facts("48 kHz")
    assert banner.text == "48 kHz"
    banner.show_messages([Message("Gone.", urgent=True, stays=True), Message("Quiet.")])
    assert banner.text == "Gone."
    assert "+1 more" in {label.text() for label in banner.findChildren(QLabel)}
    banner.dismiss()
    assert banner.text == "Gone.", "what stays cannot be waved away"
    banner.show_messages([])
    assert banner.text == "48 kHz"


def test_the_banner_lets_go_of_what_may_go(qtbot: Any) -> None:
    banner = Banner(Theme())
    qtbot.addWidget(banner)
    banner.show_messages([Message("A hint.")])
    with qtbot.waitSignal(banner.dismissed) as signal:
        banner.dismiss()
    assert signal.args == ["A hint."]


def test_the_banner_never_changes_its_height(qtbot: Any) -> None:
    banner = Banner(Theme())
    qtbot.addWidget(banner)
    banner.resize(1000, 40)
    banner.show()
    height = banner.height()
    banner.show_messages(
        [Message("A long sentence that says what is wrong and what to do. " * 3, urgent=True)]
    )
    assert banner.height() == height


# The picker


def make_picker(qtbot: Any) -> Picker:
    picker = Picker(Theme(), [PartChoice("voice", "Voice"), PartChoice("bass", "Bass")], (-40.0, 40.0))
    qtbot.addWidget(picker)
    picker.show()
    return picker


def test_the_knob_is_there_for_the_player_alone(qtbot: Any) -> None:
    picker = make_picker(qtbot)
    assert not picker.gain.isVisible()
    picker.show_gain(6.0)
    assert picker.gain.isVisible()
    turned: list[float] = []
    picker.gain_turned.connect(turned.append)
    picker.gain.setFocus()
    qtbot.keyClick(picker.gain, Qt.Key.Key_Right)
    assert turned == [6.5]
    qtbot.keyClick(picker.gain, Qt.Key.Key_PageDown)
    assert turned == [6.5, 3.5]
    picker.show_gain(None)
    assert not picker.gain.isVisible()


def test_showing_the_gain_does_not_turn_it(qtbot: Any) -> None:
    picker = make_picker(qtbot)
    turned: list[float] = []
    picker.gain_turned.connect(turned.append)
    picker.show_gain(-3.0)
    assert turned == []


def test_what_is_open_is_shown_though_it_is_not_in_the_list(qtbot: Any) -> None:
    picker = make_picker(qtbot)
    picker.show_choices([InputChoice("device:a", "A")], looking=False)
    picker.show_input("file:/tmp/a.wav", "a.wav")
    assert picker.inputs.currentText() == "a.wav"
    chosen: list[str] = []
    picker.input_chosen.connect(chosen.append)
    picker.inputs.activated.emit(picker.inputs.findText("A"))
    assert chosen == ["device:a"]


def test_looking_again_is_no_input(qtbot: Any) -> None:
    picker = make_picker(qtbot)
    picker.show_choices([InputChoice("device:a", "A")], looking=False)
    picker.show_input("device:a", "A")
    chosen: list[str] = []
    picker.input_chosen.connect(chosen.append)
    with qtbot.waitSignal(picker.look_again):
        picker.inputs.activated.emit(picker.inputs.findText(picker_words.look_again()))
    assert chosen == []
    assert picker.inputs.currentText() == "A"


def test_the_list_does_not_change_under_the_hand(qtbot: Any) -> None:
    picker = make_picker(qtbot)
    picker.show_input("device:a", "A")
    picker.inputs.showPopup()
    picker.show_choices([InputChoice("device:a", "A"), InputChoice("device:b", "B")], looking=False)
    assert picker.inputs.view().isVisible()
    assert picker.inputs.findText("B") < 0
    picker.inputs.hidePopup()
    picker.show_input("device:a", "A")
    assert picker.inputs.findText("B") >= 0


# The harbour


def test_one_channel_needs_no_harbour_and_32_fit(qtbot: Any, fakes: Any) -> None:
    harbour = Harbour(Theme())
    qtbot.addWidget(harbour)
    harbour.show_state(fakes.running(), 0, follows=True)
    assert not harbour.isVisibleTo(None)
    harbour.show_state(fakes.running(*[Verdict.FAIR_WATER] * 32), 0, follows=True)
    assert harbour.isVisibleTo(None)
    assert harbour.minimumSizeHint().width() <= 640


def test_a_channel_is_chosen_by_mouse_and_by_key(qtbot: Any, fakes: Any) -> None:
    harbour = Harbour(Theme())
    qtbot.addWidget(harbour)
    harbour.show_state(fakes.running(*[Verdict.FAIR_WATER] * 4), 0, follows=True)
    harbour.show()
    chosen: list[int] = []
    harbour.chosen.connect(chosen.append)
    berths = harbour.berths
    harbour.activateWindow()
    qtbot.waitUntil(harbour.isActiveWindow)
    qtbot.mouseClick(berths[2], Qt.MouseButton.LeftButton)
    berths[2].setFocus()
    qtbot.keyClick(berths[2], Qt.Key.Key_Right)
    assert chosen == [2, 3]
    assert all(berth.accessibleName() and berth.accessibleDescription() for berth in berths)


# The takes


def test_a_take_is_listed_with_its_clips_and_their_places(fakes: Any) -> None:
    model = TakesModel({"voice": "Voice"})
    model.show_takes([TakeLine(fakes.take(2, clips_s=(64.2, 151.7))), TakeLine(fakes.take(1, name=""))])
    assert model.rowCount() == 2

    def cell(row: int, column: Column) -> Any:
        return model.data(model.index(row, column), Qt.ItemDataRole.DisplayRole)

    assert cell(0, Column.FIGURES) == "peaks 0.0  ·  2 clips at 1:04.2, 2:31.7"
    assert cell(1, Column.FIGURES) == "peaks −7.1  ·  no clips"
    assert cell(1, Column.NAME) == "Voice"
    assert cell(1, Column.LENGTH) == "3:20"
    assert cell(1, Column.VERDICT) == "Fair water"


def test_many_clips_are_counted_and_a_running_take_says_so(fakes: Any) -> None:
    line = TakeLine(fakes.take(clips_s=tuple(float(t) for t in range(9)), state=TakeState.OPEN))
    assert line.figures == "peaks 0.0  ·  9 clips at 0:00.0, 0:01.0 and 7 more"
    model = TakesModel({})
    model.show_takes([line])
    assert model.data(model.index(0, Column.VERDICT), Qt.ItemDataRole.DisplayRole) == words.take_running()


def test_the_model_keeps_qts_rules(qtmodeltester: Any, fakes: Any) -> None:
    model = TakesModel({})
    model.show_takes([TakeLine(fakes.take(2, clips_s=(3.0,))), TakeLine(fakes.take(1))])
    qtmodeltester.check(model)


def test_a_chosen_take_stays_chosen_while_the_list_is_renewed(qtbot: Any, fakes: Any) -> None:
    takes, happenings = Takes(Theme(), {}), Happenings(Theme())
    qtbot.addWidget(takes)
    qtbot.addWidget(happenings)
    takes.chosen.connect(happenings.show_take)
    takes.show()
    takes.show_takes([TakeLine(fakes.take(1, clips_s=(64.2,)))])
    takes.table.setFocus()
    takes.table.selectRow(0)
    assert happenings.list.item(0).text().startswith("1:04.2   clip, channel 1")
    takes.show_takes([TakeLine(fakes.take(2)), TakeLine(fakes.take(1, clips_s=(64.2, 99.0)))])
    assert [index.row() for index in takes.table.selectionModel().selectedRows()] == [1]
    assert happenings.list.count() == 2


def test_takes_are_painted_in_every_state(qtbot: Any, fakes: Any) -> None:
    takes = Takes(Theme(), {})
    qtbot.addWidget(takes)
    takes.setStyleSheet(style_sheet(Theme()))
    takes.resize(860, 160)
    takes.show()
    lines = [
        TakeLine(fakes.take(4, state=TakeState.OPEN)),
        TakeLine(fakes.take(3, state=TakeState.INTERRUPTED, verdict=Verdict.AWASH, clips_s=(1.0, 199.9))),
        TakeLine(fakes.take(2, verdict=None)),
        TakeLine(replace(fakes.take(1), trace=replace(fakes.take(1).trace, points=b""))),
    ]
    takes.show_takes(lines)
    assert not takes.grab().isNull()
    assert "interrupted" in lines[1].figures


def test_an_empty_list_teaches(qtbot: Any, fakes: Any) -> None:
    takes = Takes(Theme(), {})
    qtbot.addWidget(takes)
    takes.show()
    assert words.no_takes() in {label.text() for label in takes.findChildren(QLabel) if label.isVisible()}
    takes.show_takes([TakeLine(fakes.take(1))])
    assert takes.table.isVisible()


# Texts in their room


@pytest.mark.parametrize("text", ["High water", "Turn the gain down at least 17 dB, then play it again"])
@pytest.mark.parametrize("size", [(120, 40), (300, 60), (40, 12)])
def test_texts_shrink_until_they_fit(qapp: Any, text: str, size: tuple[int, int]) -> None:
    font = Theme().font(Type.VERDICT)
    pixels = fitting_pixels(text, font, QSize(*size), wrap=True)
    assert LEAST_PIXELS <= pixels <= font.pixelSize()
    if pixels > LEAST_PIXELS:
        trial = QFont(font)
        trial.setPixelSize(pixels)
        flags = int(Qt.TextFlag.TextWordWrap)
        need = QFontMetrics(trial).boundingRect(QRect(0, 0, size[0], 10_000), flags, text)
        assert need.width() <= size[0]
        assert need.height() <= size[1]


def test_with_room_nothing_shrinks(qapp: Any) -> None:
    font = Theme().font(Type.BODY)
    assert fitting_pixels("Slack", font, QSize(500, 100), wrap=True) == font.pixelSize()


@pytest.mark.parametrize("verdict", Verdict)
@pytest.mark.parametrize("text_scale", [1.0, 2.0])
def test_the_cards_texts_lie_within_the_card(
    qtbot: Any, fakes: Any, verdict: Verdict, text_scale: float
) -> None:
    card = VerdictCard(Theme(text_scale=text_scale))
    qtbot.addWidget(card)
    card.resize(300, 270)
    card.show()
    card.show_judgement(fakes.judgement(verdict, -14), "Overhead left", old=False)

    def fits(label: QLabel) -> bool:
        label.ensurePolished()
        room = label.contentsRect()
        flags = int(Qt.TextFlag.TextWordWrap)
        need = label.fontMetrics().boundingRect(QRect(0, 0, room.width(), 10_000), flags, label.text())
        return need.height() <= room.height() + 1 and need.width() <= room.width()

    qtbot.waitUntil(lambda: all(fits(label) for label in card.findChildren(QLabel)))


def test_a_verdict_is_announced_once(qtbot: Any, fakes: Any, monkeypatch: Any) -> None:
    said: list[str] = []
    monkeypatch.setattr("app.window.card.announce", lambda _widget, text: said.append(text))
    card = VerdictCard(Theme())
    qtbot.addWidget(card)
    for _ in range(3):
        card.show_judgement(fakes.judgement(Verdict.AWASH), "", old=False)
    card.show_judgement(fakes.judgement(Verdict.FAIR_WATER), "", old=False)
    assert [text.split(".")[0] for text in said] == ["Awash", "Fair water"]


def test_announcing_works_with_and_without_the_newer_event(qtbot: Any, monkeypatch: Any) -> None:
    card = VerdictCard(Theme())
    qtbot.addWidget(card)
    announce(card, "High water")
    monkeypatch.delattr("PySide6.QtGui.QAccessibleAnnouncementEvent", raising=False)
    announce(card, "High water")
