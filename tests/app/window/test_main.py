"""The window as a whole, on fakes."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QAccessible, QShortcut
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFileDialog,
    QLabel,
    QLineEdit,
    QListWidget,
    QSlider,
    QTableView,
    QWidget,
)

from app.coach.judgement import Verdict
from app.engine.history import History
from app.errors import LogError
from app.window import main
from app.window.main import MainWindow
from app.window.messages import STALE_S
from app.window.program import icon
from app.window.theme import PALETTES
from app.words import card as card_words
from app.words import messages as words
from app.words import picker as picker_words
from app.words import window as window_words

INTERACTIVE = (QAbstractButton, QComboBox, QLineEdit, QSlider, QTableView, QListWidget)


def activate(qtbot: Any, window: MainWindow) -> None:
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)


@pytest.fixture
def playing(world: Any, fakes: Any) -> Any:
    """Keeps the fake engine publishing, as the real one does, until the test ends."""
    world.engine.snapshot = fakes.running(Verdict.HIGH_WATER)
    world.engine.play(500)
    stop = threading.Event()

    def publish() -> None:
        while not stop.wait(0.01):
            world.engine.play(1)
            world.engine.refresh()

    thread = threading.Thread(target=publish)
    thread.start()
    yield world
    stop.set()
    thread.join()


def test_the_first_start_plays_and_says_how_to_go_on(qtbot: Any, playing: Any, window: MainWindow) -> None:
    assert [source.spec for source in playing.engine.opened] == ["player"]
    qtbot.waitUntil(lambda: window.banner.text == words.first_run_hint())
    window.banner.dismiss()
    qtbot.waitUntil(lambda: window.banner.text == picker_words.stream_facts(48_000, 1, 0))


def test_a_snapshot_reaches_every_part(qtbot: Any, playing: Any, window: MainWindow) -> None:
    def shown() -> set[str]:
        return {label.text() for label in window.findChildren(QLabel)}

    qtbot.waitUntil(lambda: {"High water", "−18.2", "−7.1", "7.1", "−62"} <= shown())
    assert "18.2" in window.chart.accessibleDescription()
    assert window.picker.inputs.currentText() == "Built-in player: bass"


def test_the_space_bar_begins_and_ends_a_take_wherever_the_focus_is(
    qtbot: Any, window: MainWindow, world: Any
) -> None:
    activate(qtbot, window)
    for widget in (window.take_button, window.afresh, window.picker.inputs, window.takes.table):
        widget.setFocus()
        qtbot.keyClick(widget, Qt.Key.Key_Space)
        assert world.keeper.current is not None, widget
        qtbot.waitUntil(lambda: window.take_button.text() == window_words.end_take("Space", "0:12"))
        qtbot.keyClick(widget, Qt.Key.Key_Space)
        assert world.keeper.current is None, widget
    assert world.keeper.begun == [("", "voice")] * 4
    assert world.engine.resets == 0, "the space bar presses no other button"


def test_space_and_letters_can_be_typed_into_a_name(qtbot: Any, window: MainWindow, world: Any) -> None:
    activate(qtbot, window)
    window.takes.name_field.setFocus()
    qtbot.keyClicks(window.takes.name_field, "all or r l")
    assert window.takes.name_field.text() == "all or r l"
    assert world.keeper.begun == []
    qtbot.keyClick(window.takes.name_field, Qt.Key.Key_Return)
    qtbot.keyClick(window.take_button, Qt.Key.Key_Return)
    assert world.keeper.begun == [("all or r l", "voice")]


def test_a_held_space_bar_does_not_end_the_take_that_it_began(window: MainWindow) -> None:
    keys = {shortcut.key().toString(): shortcut for shortcut in window.findChildren(QShortcut)}
    assert {"Space", "R", "L", "Esc"} <= set(keys)
    assert not any(shortcut.autoRepeat() for shortcut in keys.values())


def test_r_starts_afresh_and_l_changes_the_look(qtbot: Any, window: MainWindow, world: Any) -> None:
    activate(qtbot, window)
    qtbot.keyClick(window, Qt.Key.Key_R)
    assert world.engine.resets == 1
    names = []
    for _ in PALETTES:
        qtbot.keyClick(window, Qt.Key.Key_L)
        names.append(world.memory["theme"])
    assert sorted(names) == sorted(PALETTES)


def test_everything_can_be_reached_with_tab(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> None:
    world.log(fakes.take(1))
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER, Verdict.AWASH)
    window.picker.show_gain(0.0)
    qtbot.waitUntil(window.takes.table.isVisible)
    window.takes.table.selectRow(0)
    qtbot.waitUntil(window.harbour.isVisible)
    activate(qtbot, window)
    window.take_button.setFocus()
    reached: list[QWidget] = []
    for _ in range(60):
        widget = QApplication.focusWidget()
        assert widget is not None
        if widget in reached:
            break
        reached.append(widget)
        qtbot.keyClick(widget, Qt.Key.Key_Tab)
    wanted = [
        widget
        for kind in INTERACTIVE
        for widget in window.findChildren(kind)
        if widget.isVisible() and widget.isEnabled() and widget not in window.harbour.berths
    ]
    missed = [
        f"{type(widget).__name__} {widget.accessibleName()}"
        for widget in wanted
        if widget not in reached and widget.focusPolicy() & Qt.FocusPolicy.TabFocus
    ]
    assert not missed
    assert {window.take_button, window.picker.inputs, window.picker.gain, window.takes.table} <= set(reached)
    assert any(berth in reached for berth in window.harbour.berths)


def test_every_control_has_a_name_and_a_role(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> None:
    world.log(fakes.take(1, clips_s=(3.0,)))
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER, Verdict.AWASH)
    window.picker.show_gain(0.0)
    qtbot.waitUntil(window.takes.table.isVisible)
    qtbot.waitUntil(window.harbour.isVisible)
    nameless = []
    for kind in INTERACTIVE:
        for widget in window.findChildren(kind):
            inner = widget.objectName().startswith("qt_") or widget.parent() is window.takes.table
            if widget.isVisible() and not inner:
                interface = QAccessible.queryAccessibleInterface(widget)
                if not interface.text(QAccessible.Text.Name) or interface.role() is QAccessible.Role.NoRole:
                    nameless.append(widget)
    assert not nameless
    for part in (window.chart, window.card, window.harbour):
        assert QAccessible.queryAccessibleInterface(part).text(QAccessible.Text.Name)


def test_old_readings_are_soon_shown_as_old(qtbot: Any, playing: Any, window: MainWindow) -> None:
    qtbot.waitUntil(lambda: window.card.accessibleDescription().startswith("High water"))
    # What a loaded machine adds is its own; by construction it is said within a third of a second.
    assert STALE_S + main._TEXT_S + window.look_every_ms / 1000 <= 0.35
    frozen = playing.engine.snapshot
    playing.engine.refresh = lambda: None  # the analysis hangs
    playing.engine.snapshot = frozen
    qtbot.waitUntil(lambda: window.banner.text == words.state_stale())
    assert window.card.accessibleDescription() == card_words.old_reading()


def test_a_wrong_input_is_one_sentence_and_the_present_one_stays(
    qtbot: Any, playing: Any, window: MainWindow
) -> None:
    window.listening.open_input("device:missing")
    qtbot.waitUntil(lambda: "missing" in window.banner.text)
    assert [source.spec for source in playing.engine.opened] == ["player"]
    window.banner.dismiss()
    qtbot.waitUntil(lambda: "missing" not in window.banner.text)


def test_the_knob_turns_the_players_gain(qtbot: Any, playing: Any, window: MainWindow) -> None:
    qtbot.keyClick(window.picker.gain, Qt.Key.Key_Right)
    assert playing.engine.opened[-1].gain_db == 0.5


def test_what_was_chosen_is_remembered(qtbot: Any, window: MainWindow, world: Any) -> None:
    window.listening.open_input("device:interface")
    window.listening.choose_part("bass")
    window.looks.next_palette()
    window.close()
    again = MainWindow(world.services())
    qtbot.addWidget(again)
    assert world.engine.opened[-1].spec == "device:interface"
    assert world.parts[-1] == "bass"
    assert again.theme.name == world.memory["theme"] != "dark"
    again.shut_down()


def test_the_command_line_decides_before_the_memory(qtbot: Any, world: Any) -> None:
    world.memory["input"] = "device:interface"
    world.first_input = "file:a.wav"
    window = MainWindow(world.services())
    qtbot.addWidget(window)
    assert world.engine.opened[-1].spec == "file:a.wav"
    window.shut_down()
    assert world.memory["input"] == "device:interface", "asking once is not choosing"


def test_inputs_are_listed_off_the_windows_thread(qtbot: Any, world: Any) -> None:
    services = world.services()
    threads: list[threading.Thread] = []
    release = threading.Event()

    def slow() -> list[Any]:
        threads.append(threading.current_thread())
        release.wait(5)
        return world.choices

    window = MainWindow(replace(services, list_inputs=slow))
    qtbot.addWidget(window)
    window.show()
    window.listening.list_inputs()
    qtbot.waitUntil(lambda: bool(threads))
    assert threads[0] is not threading.main_thread()
    assert window.picker.inputs.findText(picker_words.looking_for_inputs()) >= 0
    release.set()
    qtbot.waitUntil(lambda: window.picker.inputs.findText("Interface, inputs 1 and 2") >= 0)
    window.shut_down()


def test_takes_are_read_when_they_change(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> None:
    assert window.takes.table.model().rowCount() == 0
    world.log(fakes.take(1, clips_s=(64.2,)))
    qtbot.waitUntil(lambda: window.takes.table.model().rowCount() == 1)


def test_a_log_that_cannot_be_read_is_one_sentence(qtbot: Any, world: Any) -> None:
    def broken() -> list[Any]:
        raise LogError("The take log cannot be read.")

    window = MainWindow(replace(world.services(), list_takes=broken))
    qtbot.addWidget(window)
    window.show()
    qtbot.waitUntil(lambda: any("cannot be read" in message.text for message in window.notices.messages))
    window.shut_down()


def test_the_chart_follows_the_worst_channel_once_it_stays_the_worst(
    qtbot: Any, window: MainWindow, world: Any, fakes: Any
) -> None:
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER, Verdict.AWASH, Verdict.LOW_WATER)
    world.engine.history = History(3, 0.01)
    qtbot.waitUntil(lambda: window.channel == 1)
    window.choose_channel(2)
    qtbot.waitUntil(lambda: window.channel == 2)
    window.choose_channel(-1)
    qtbot.waitUntil(lambda: window.channel == 1)


@pytest.mark.qt_no_exception_capture  # our own hook is what is tried
def test_what_breaks_reaches_the_user(qtbot: Any, guarded_window: Any, tmp_path: Path, capsys: Any) -> None:
    window, _crashes = guarded_window
    empty: list[int] = []
    QTimer.singleShot(0, lambda: empty[1])
    qtbot.waitUntil(lambda: "IndexError" in window.banner.text)
    assert "IndexError" in capsys.readouterr().err, "it is still printed for whoever looks there"
    window.banner.save.click()
    dialog = window.findChild(QFileDialog)
    target = tmp_path / "details.txt"
    dialog.fileSelected.emit(str(target))
    dialog.close()
    text = target.read_text(encoding="utf-8")
    assert "Traceback" in text
    assert "swellmark" in text


@pytest.mark.qt_no_exception_capture
@pytest.mark.parametrize(
    "broken",
    [
        "app.window.card.paint_scene",
        "app.window.harbour.boat_path",
        "app.window.seapaint.SeaPaint._paint_bed",
        "app.window.takepaint.paint_mark",
    ],
)
def test_drawing_that_breaks_reaches_the_user_and_ends_nothing(
    qtbot: Any, guarded_window: Any, world: Any, fakes: Any, monkeypatch: Any, broken: str
) -> None:
    def fail(*_: Any) -> None:
        raise ZeroDivisionError

    window, _crashes = guarded_window
    world.log(fakes.take(1))
    world.engine.play(300)
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER, Verdict.AWASH)
    world.engine.history = History(2, 0.01)
    world.engine.play(300)
    monkeypatch.setattr(broken, fail)
    window.update()
    qtbot.waitUntil(lambda: any("ZeroDivisionError" in message.text for message in window.notices.messages))
    monkeypatch.undo()
    window.take_button.click()
    assert world.keeper.current is not None, "the rest goes on"


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_breaks_reaches_the_user(qtbot: Any, guarded_window: Any, monkeypatch: Any) -> None:
    window, crashes = guarded_window
    monkeypatch.setattr(threading, "excepthook", crashes.on_thread)
    thread = threading.Thread(target=lambda: {}["lost"])
    thread.start()
    thread.join()
    qtbot.waitUntil(lambda: "KeyError" in window.banner.text)


def test_closing_ends_the_take_and_everything_else_in_order(
    qtbot: Any, window: MainWindow, world: Any
) -> None:
    window.toggle_take()
    window.close()
    assert world.keeper.ended == 1
    assert world.engine.stopped
    assert world.log_closed
    assert window.shut_down() is True, "again does no harm"
    assert "geometry" in world.memory


def test_closing_does_not_wait_for_what_hangs(qtbot: Any, world: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr("app.window.farewell.LIMIT_S", 0.3)
    release = threading.Event()
    world.engine.stop = lambda: release.wait(20)
    window = MainWindow(world.services())
    qtbot.addWidget(window)
    window.show()
    window.toggle_take()
    begin_s = time.monotonic()
    assert window.shut_down() is False
    assert time.monotonic() - begin_s < 3.0
    assert world.keeper.ended == 1, "the take was handed over first"
    release.set()


def test_one_step_that_fails_does_not_keep_the_others_from_ending(
    qtbot: Any, world: Any, monkeypatch: Any
) -> None:
    def broken() -> bool:
        raise OSError("driver")

    told: list[BaseException] = []
    monkeypatch.setattr(sys, "excepthook", lambda _kind, error, _trace: told.append(error))
    world.engine.stop = broken
    window = MainWindow(world.services())
    qtbot.addWidget(window)
    assert window.shut_down() is False
    assert world.log_closed
    assert [str(error) for error in told] == ["driver"]


def test_a_hidden_window_looks_seldom_and_a_closed_one_never(
    qtbot: Any, window: MainWindow, world: Any
) -> None:
    assert window.look_every_ms <= 50
    window.hide()
    assert window.look_every_ms >= 100
    assert not world.engine.seen
    window.show()
    assert window.look_every_ms <= 50
    window.close()
    assert window.look_every_ms == 0


def test_the_window_fits_small_screens(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> None:
    world.engine.snapshot = fakes.running(*[Verdict.FAIR_WATER] * 32)
    qtbot.waitUntil(window.harbour.isVisible)
    window.picker.show_gain(0.0)
    hint = window.minimumSizeHint()
    assert hint.width() <= 1024
    assert hint.height() <= 600


def test_the_icon_is_drawn(qapp: QApplication) -> None:
    assert not icon().pixmap(64, 64).isNull()


def test_nothing_heavy_is_imported_on_the_way_to_the_window() -> None:
    heavy = ("scipy.signal", "sounddevice", "sqlite3", "soundfile")
    code = f"import app.window.main, sys; print([m for m in {heavy} if m in sys.modules])"
    assert run_python(code).stdout.strip() == "[]"


def test_the_program_starts_runs_and_ends_by_itself(tmp_path: Path) -> None:
    """Real engine, keeper and log, in a process of their own: whatever is left over at exit would show."""
    code = """
import sys
from pathlib import Path
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from app.coach.judgement import Target
from app.coach.parts import shipped_parts
from app.coach.session import GuidedSession
from app.coach.verdict import Coach
from app.engine.loop import Engine
from app.inputs.player import PlayerSource
from app.log.keeper import TakeKeeper
from app.log.store import Store
from app.log.writer import LogWriter
from app.window.main import MainWindow
from app.window.program import run
from app.window.services import Services

path = Path(sys.argv[1])

class Memory(dict):
    put = dict.__setitem__

def read(what):
    with Store(path) as store:
        return what(store)

writer = LogWriter(path)
keeper = TakeKeeper(writer)
services = Services(
    engine=Engine(lambda channels, rate, hop: Coach(channels, rate, hop), [keeper]),
    keeper=keeper,
    settings=Memory(),
    open_input=lambda spec: PlayerSource("bass"),
    list_inputs=lambda: [],
    list_takes=lambda: read(Store.list_takes),
    read_take=lambda number: read(lambda store: store.take(number)),
    close_log=writer.close,
    make_session=lambda part, channel: lambda hop_s: GuidedSession(shipped_parts()["bass"], Target(), hop_s),
)
app = QApplication([])

def window():
    return next(w for w in app.topLevelWidgets() if isinstance(w, MainWindow))

def end_after_a_second():
    take = keeper.current
    if take is None or take.duration_s < 1.0:
        QTimer.singleShot(50, end_after_a_second)
    else:
        window().close()

QTimer.singleShot(700, lambda: (window().toggle_take(), end_after_a_second()))
status = run(services)
(take,) = read(Store.list_takes)
print(status, take.state.value, round(take.duration_s, 1))
"""
    done = run_python(code, str(tmp_path / "takes.sqlite"))
    assert done.stderr == ""
    status, state, duration_s = done.stdout.split()
    assert (status, state) == ("0", "closed")
    assert 1.0 <= float(duration_s) < 10.0


def run_python(code: str, *args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *args], capture_output=True, text=True, check=True, timeout=60
    )


def test_texts_grow_by_key_and_stay_grown(qtbot: Any, window: MainWindow, world: Any) -> None:
    activate(qtbot, window)
    for _ in range(15):
        qtbot.keyClick(window, Qt.Key.Key_Plus, Qt.KeyboardModifier.ControlModifier)
    assert window.theme.text_scale == 2.0
    assert world.memory["text_percent"] == "200"
    assert window.minimumSizeHint().width() <= 1280
    assert window.minimumSizeHint().height() <= 800
    again = MainWindow(world.services())
    qtbot.addWidget(again)
    assert again.theme.text_scale == 2.0
    again.shut_down()
    qtbot.keyClick(window, Qt.Key.Key_0, Qt.KeyboardModifier.ControlModifier)
    assert window.theme.text_scale == 1.0


def test_a_memory_full_of_nonsense_does_no_harm(qtbot: Any, world: Any) -> None:
    world.memory.update(theme="plaid", text_percent="9²", geometry="!!", part="theremin", input="missing")
    window = MainWindow(world.services())
    qtbot.addWidget(window)
    window.show()
    qtbot.waitUntil(lambda: any("missing" in message.text for message in window.notices.messages))
    window.shut_down()


def test_what_happened_to_the_log_is_told_once(qtbot: Any, world: Any) -> None:
    notice = "The take log was damaged and set aside."
    window = MainWindow(replace(world.services(), log_notice=lambda: notice))
    qtbot.addWidget(window)
    window.show()
    qtbot.waitUntil(lambda: any(message.text == notice for message in window.notices.messages))
    while any(message.text == notice for message in window.notices.messages):
        window.banner.dismiss()
        qtbot.wait(150)
    qtbot.wait(300)
    assert all(message.text != notice for message in window.notices.messages)
    window.shut_down()


def test_the_proof_opens_runs_and_closes_with_keys(qtbot: Any, window: MainWindow) -> None:
    qtbot.keyClick(window, Qt.Key.Key_P)
    assert window.proof_is_open
    assert window.proof is not None
    proof = window.proof
    qtbot.waitUntil(lambda: not proof.is_running)
    qtbot.keyClick(window, Qt.Key.Key_L)
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert not window.proof_is_open
    assert window.chart.isVisible()
