"""The whole job without a mouse, and without a screen: by keyboard, and through Qt's accessibility tree."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible, QAccessibleInterface
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QWidget,
)
from pytestqt.exceptions import TimeoutError as QtTimeoutError

from app.coach.judgement import Verdict
from app.window import controls
from app.window.actions import BOARD
from app.window.main import MainWindow
from app.window.pagelist import PAGES
from app.window.theme import PALETTES, Theme
from app.words.language import speak

ROLE = QAccessible.Role
CONTROLS = {
    ROLE.Button,
    ROLE.CheckBox,
    ROLE.ComboBox,
    ROLE.EditableText,
    ROLE.List,
    ROLE.PushButton,
    ROLE.RadioButton,
    ROLE.Slider,
    ROLE.SpinBox,
    ROLE.Table,
}


def activate(qtbot: Any, window: MainWindow) -> None:
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)


def press(qtbot: Any, key: Any, times: int = 1) -> None:
    for _ in range(times):
        focus = QApplication.focusWidget()
        assert focus is not None, "the focus was lost"
        qtbot.keyClick(focus, key)


def tab_to(qtbot: Any, wanted: QWidget) -> None:
    for _ in range(60):
        if QApplication.focusWidget() is wanted:
            return
        press(qtbot, Qt.Key.Key_Tab)
    raise AssertionError(f"Tab does not reach {wanted.accessibleName()!r}")


def tree(interface: QAccessibleInterface, depth: int = 0) -> Iterator[QAccessibleInterface]:
    """Everything that a screen reader can come to; what is not shown it does not read."""
    yield interface
    assert depth < 30
    for number in range(interface.childCount()):
        child = interface.child(number)
        if child is not None and child.isValid() and not child.state().invisible:
            yield from tree(child, depth + 1)


def name(interface: QAccessibleInterface) -> str:
    return str(interface.text(QAccessible.Text.Name))


@pytest.fixture
def heard(monkeypatch: Any) -> list[str]:
    """What a screen reader is told to say."""
    said: list[str] = []

    class Event:
        def __init__(self, widget: QWidget, text: str) -> None:
            said.append(text)

    monkeypatch.setattr(controls.QtGui, "QAccessibleAnnouncementEvent", Event)
    monkeypatch.setattr(controls.QAccessible, "updateAccessibility", lambda _event: None)
    return said


def test_the_whole_job_by_keyboard(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> None:
    world.engine.snapshot = fakes.running(Verdict.HIGH_WATER)
    activate(qtbot, window)
    window.listening.list_inputs()
    qtbot.waitUntil(lambda: window.picker.inputs.findText("Interface, inputs 1 and 2") >= 0)
    # Choose the input and the part.
    tab_to(qtbot, window.picker.inputs)
    index = window.picker.inputs.findText("Interface, inputs 1 and 2")
    while window.picker.inputs.currentIndex() != index:
        press(qtbot, Qt.Key.Key_Down if window.picker.inputs.currentIndex() < index else Qt.Key.Key_Up)
    assert world.engine.opened[-1].spec == "device:interface"
    tab_to(qtbot, window.picker.parts)
    before = window.listening.part
    press(qtbot, Qt.Key.Key_Down)
    assert window.listening.part != before
    # Set the gain.
    world.engine.snapshot = fakes.running(Verdict.HIGH_WATER)
    press(qtbot, Qt.Key.Key_G)
    qtbot.waitUntil(window.guide.isVisible)
    press(qtbot, Qt.Key.Key_N)
    assert world.engine.skips == 1
    press(qtbot, Qt.Key.Key_Escape)
    qtbot.waitUntil(window.card.isVisible)
    # Understand why.
    press(qtbot, Qt.Key.Key_W)
    assert window.why_is_open
    press(qtbot, Qt.Key.Key_Escape)
    # Watch the take from afar.
    press(qtbot, Qt.Key.Key_2)
    press(qtbot, Qt.Key.Key_Space)
    assert world.keeper.current is not None
    press(qtbot, Qt.Key.Key_Space)
    assert world.keeper.ended == 1
    press(qtbot, Qt.Key.Key_Escape)
    assert window.chart.isVisible()
    # Know what it was.
    world.log(fakes.take(1, clips_s=(3.0, 8.5)))
    qtbot.waitUntil(window.takes.table.isVisible)
    tab_to(qtbot, window.takes.table)
    press(qtbot, Qt.Key.Key_Down)
    qtbot.waitUntil(lambda: window.happenings.list.count() == 2)
    # And everywhere else.
    for spec in PAGES:
        press(qtbot, getattr(Qt.Key, f"Key_{spec.key}"))
        assert window.pages.place == spec.name
        press(qtbot, Qt.Key.Key_Escape)
        assert window.pages.place == BOARD


def test_tab_goes_around_on_every_page(qtbot: Any, window: MainWindow) -> None:
    activate(qtbot, window)
    for spec in PAGES:
        window.pages.go_to(spec.name)
        page = window.pages.page(spec.name)
        assert page is not None
        first = QApplication.focusWidget()
        assert first is not None
        assert page is first or page.isAncestorOf(first), "the focus goes with the page"
        reached: list[QWidget] = []
        for _ in range(80):
            widget = QApplication.focusWidget()
            assert widget is not None
            if widget in reached:
                break
            reached.append(widget)
            press(qtbot, Qt.Key.Key_Tab)
        missed = [
            f"{spec.name}: {stop.accessibleName()}"
            for stop in page.stops
            if stop.isVisible() and stop.isEnabled() and stop not in reached
        ]
        assert not missed
        assert window.foot.buttons[BOARD] in reached, "there is a way out"


def test_a_screen_reader_finds_a_name_and_a_role_everywhere(
    qtbot: Any, window: MainWindow, world: Any, fakes: Any
) -> None:
    world.log(fakes.take(1, clips_s=(3.0,)))
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER, Verdict.AWASH)
    window.picker.show_gain(0.0)
    qtbot.waitUntil(window.takes.table.isVisible)
    qtbot.waitUntil(window.harbour.isVisible)
    for place in (BOARD, *(spec.name for spec in PAGES), "afar"):
        if place == "afar":
            window.views.toggle_afar()
        else:
            window.pages.go_to(place)
        found = list(tree(QAccessible.queryAccessibleInterface(window)))
        assert len(found) > 10 or place == "afar"
        nameless = [
            (place, node.role(), node.object().metaObject().className() if node.object() else "?")
            for node in found
            if node.role() in CONTROLS and node.state().focusable and not name(node)
        ]
        assert not nameless
        names = [name(node) for node in found if node.role() in (ROLE.Button, ROLE.PushButton)]
        double = {(place, text) for text in names if text and names.count(text) > 1}
        assert not double, "two buttons of one name cannot be told apart"


def test_a_screen_reader_reads_figures_values_and_verdict(
    qtbot: Any, window: MainWindow, world: Any, fakes: Any
) -> None:
    world.engine.snapshot = fakes.running(Verdict.HIGH_WATER)
    window.picker.show_gain(-4.5)

    def names() -> set[str]:
        world.engine.refresh()
        return {name(node) for node in tree(QAccessible.queryAccessibleInterface(window))}

    qtbot.waitUntil(lambda: "Average: minus 18.2 dBFS" in names())
    assert {"Peak hold: minus 7.1 dBFS", "Headroom: 7.1 dB", "Noise floor: minus 62 dBFS"} <= names()
    slider = QAccessible.queryAccessibleInterface(window.picker.gain)
    assert slider.role() is ROLE.Slider
    assert slider.valueInterface() is not None
    assert "−4.5 dB" in slider.text(QAccessible.Text.Description)
    card = QAccessible.queryAccessibleInterface(window.card)
    assert card.text(QAccessible.Text.Description).startswith("High water. ")


def test_a_verdict_that_changes_is_said_once(
    qtbot: Any, window: MainWindow, world: Any, fakes: Any, heard: list[str]
) -> None:
    def said(word: str) -> int:
        world.engine.refresh()
        return sum(text.startswith(word) for text in heard)

    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER)
    qtbot.waitUntil(lambda: said("Fair water") == 1)
    world.engine.snapshot = fakes.running(Verdict.AWASH)
    qtbot.waitUntil(lambda: said("Awash") == 1)
    for _ in range(5):
        qtbot.wait(60)
        assert said("Awash") == 1


def test_the_focus_can_be_seen(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> None:
    world.log(fakes.take(1, clips_s=(3.0,)))
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER)
    window.picker.show_gain(0.0)
    qtbot.waitUntil(window.takes.table.isVisible)
    activate(qtbot, window)
    tried = {}
    for palette in PALETTES:
        window.set_theme(Theme(palette))
        for place in (BOARD, *(spec.name for spec in PAGES)):
            window.pages.go_to(place)
            page = window.pages.page(place)
            stops = list(page.stops) if page is not None else [*window.figures.stops, window.take_button]
            for stop in [*stops, *window.picker.stops, window.foot.buttons["look"]]:
                if stop.isVisible() and stop.isEnabled():
                    tried[f"{palette} {place} {type(stop).__name__} {stop.accessibleName()}"] = shows_focus(
                        stop
                    )
    assert [stop for stop, seen in tried.items() if not seen] == []


def shows_focus(stop: QWidget) -> bool:
    focus = QApplication.focusWidget()
    if focus is not None:
        focus.clearFocus()
    before = stop.grab().toImage()
    stop.setFocus(Qt.FocusReason.TabFocusReason)
    return bool(stop.grab().toImage() != before)


def cut_off(window: QWidget) -> list[str]:
    """Texts that do not fit where they stand. What shortens itself with an ellipsis is not looked at."""
    found = []
    for label in window.findChildren(QLabel):
        if not label.isVisible() or not label.text() or label.width() <= 1:
            continue
        if label.wordWrap():
            short = label.heightForWidth(label.width()) > label.height() + 2
        else:
            short = label.minimumSizeHint().width() > label.width() + 2
        if short or label.fontMetrics().height() > label.height() + 4:
            found.append(label.text())
    for button in window.findChildren(QAbstractButton):
        if not button.isVisible() or not button.text():
            continue
        text, share = button.shown if isinstance(button, controls.Button) else (button.text(), 1.0)
        small = share < 0.7 or button.fontMetrics().height() * share > button.height()
        if small or button.fontMetrics().horizontalAdvance(text) * share > button.width() - 4:
            found.append(f"{text} at {share:.2f}")
    fields: list[QWidget] = [*window.findChildren(QComboBox), *window.findChildren(QLineEdit)]
    low = [field for field in fields if field.isVisible() and field.fontMetrics().height() > field.height()]
    return found + [field.accessibleName() for field in low]


@pytest.fixture(params=["en", "de"])
def language(request: Any) -> Iterator[str]:
    """The language of the whole window: ask for it before the window."""
    speak([request.param])
    yield request.param
    speak([])


@pytest.mark.usefixtures("language")
@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_no_text_is_cut_off(qtbot: Any, window: MainWindow, world: Any, fakes: Any, scale: float) -> None:
    world.log(fakes.take(1, clips_s=(3.0,)))
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER)
    window.picker.show_gain(0.0)
    window.set_theme(Theme("dark", scale))
    qtbot.waitUntil(window.takes.table.isVisible)
    cut, large = {}, {}
    for size in ((1024, 600), (1280, 800), (3840, 2160)):
        for place in (BOARD, *(spec.name for spec in PAGES)):
            window.pages.go_to(place)
            window.resize(*size)
            window.look_at_engine()
            with contextlib.suppress(QtTimeoutError):  # layouts settle in their own time
                qtbot.waitUntil(lambda: not cut_off(window), timeout=8000)
            hint = window.minimumSizeHint()
            if hint.width() > size[0] or hint.height() > size[1]:
                large[place, size] = (hint.width(), hint.height())
            elif texts := cut_off(window):
                cut[place, size] = texts
    assert not large
    assert not cut


def test_right_to_left_mirrors_the_window(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> None:
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER)
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    application.setLayoutDirection(Qt.LayoutDirection.RightToLeft)
    try:
        qtbot.waitUntil(
            lambda: window.card.x() < window.chart.mapTo(window, window.chart.rect().topLeft()).x()
        )
        window.views.toggle_afar()
        window.afar.grab()
        window.views.toggle_afar()
        for spec in PAGES:
            window.pages.go_to(spec.name)
            window.grab()
    finally:
        application.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
