"""The guided gain session, the forecast and the explanation in the window."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel

from app.coach.advice import Opinion
from app.coach.forecast import Forecast
from app.coach.judgement import Reason, Target, Verdict
from app.coach.parts import shipped_parts
from app.coach.session import Cue, GuidedSession, SessionState, Step
from app.coach.verdict import Coach
from app.engine.loop import Engine
from app.inputs.player import PlayerSource
from app.window.guidance import RESULT_S
from app.window.guide import Guide
from app.window.main import MainWindow
from app.window.services import PartChoice
from app.window.theme import Theme
from app.window.why import Why
from app.words import advice
from app.words import session as words

FORECAST = Forecast(240.0, 30.0, -7.0, -4.0, -1.0, 0.05, 0.02, 0.1, 0.6, 0.2)
FAIR = Opinion(Verdict.FAIR_WATER, Reason.IN_WINDOW, 0.0, {"average_dbfs": -18.0, "peak_dbfs": -7.0})
HIGH = Opinion(Verdict.HIGH_WATER, Reason.TAKE_LOUDER, -6.0, {"peak_dbfs": -1.0})


def texts(widget: Any) -> list[str]:
    return [label.text() for label in widget.findChildren(QLabel) if label.isVisibleTo(widget)]


def put(world: Any, state: SessionState | None, channel: int = 0) -> None:
    world.engine.snapshot = replace(
        world.engine.snapshot, session=state, session_channel=channel, published_s=time.monotonic() + 60.0
    )


@pytest.fixture
def ready(qtbot: Any, window: MainWindow, world: Any, fakes: Any) -> MainWindow:
    """A window on one running channel, with the keyboard's attention."""
    world.engine.snapshot = fakes.running(Verdict.HIGH_WATER)
    put(world, None)
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    return window


def test_a_session_by_keys_alone(qtbot: Any, ready: MainWindow, world: Any) -> None:
    window = ready
    qtbot.keyClick(window, Qt.Key.Key_G)
    qtbot.waitUntil(window.guide.isVisible)
    assert world.session_parts == ["voice"], "for the part that is chosen"
    assert not window.card.isVisible(), "one advice at a time"
    put(world, SessionState(Step.QUIET, Cue.BE_QUIET, 0.5))
    qtbot.waitUntil(lambda: window.guide.course.place == 0.5)
    assert words.cue_sentence("be_quiet") in texts(window.guide)
    qtbot.keyClick(window, Qt.Key.Key_N)
    assert world.engine.skips == 1
    put(world, SessionState(Step.TURN, Cue.MORE, 0.5, -6, -3.0, HIGH, 1))
    qtbot.waitUntil(
        lambda: words.cue_sentence("more", gain_change_db=-6, remaining_db=-3.0) in texts(window.guide)
    )
    assert window.guide.course.place == 2.5
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert world.engine.session_for is None
    qtbot.waitUntil(window.card.isVisible)


def test_nothing_heard_leads_nowhere(qtbot: Any, ready: MainWindow, world: Any) -> None:
    put(world, SessionState(Step.LOUD, Cue.PLAY_LOUDEST, 0.0))
    qtbot.waitUntil(ready.guide.isVisible)
    assert not ready.guide.skip_button.isEnabled()
    qtbot.keyClick(ready, Qt.Key.Key_N)
    assert world.engine.skips == 0


def test_clips_show_at_once_and_only_in_their_step(qtbot: Any, ready: MainWindow, world: Any) -> None:
    put(world, SessionState(Step.LOUD, Cue.KEEP_PLAYING, 0.3))
    qtbot.waitUntil(ready.guide.isVisible)
    world.engine.snapshot = replace(world.engine.snapshot, clips=(2,))
    qtbot.waitUntil(lambda: words.clipped_now(2) in texts(ready.guide))
    put(world, SessionState(Step.TURN, Cue.TURN, 0.0, -6, -6.0, HIGH, 1))
    qtbot.waitUntil(lambda: words.clipped_now(2) not in texts(ready.guide))


@pytest.mark.parametrize("after", [SessionState(Step.CHECK, Cue.PLAY_AGAIN, 0.0), None])
def test_the_live_verdict_forgets_what_was_before_the_turn(
    qtbot: Any, ready: MainWindow, world: Any, after: SessionState | None
) -> None:
    put(world, SessionState(Step.TURN, Cue.TURN, 0.0, -6, -6.0, HIGH, 1))
    qtbot.waitUntil(ready.guide.isVisible)
    assert world.engine.resets == 0
    put(world, SessionState(Step.TURN, Cue.THERE, 1.0, -6, -0.5, HIGH, 1))
    qtbot.waitUntil(lambda: words.cue_sentence("there") in texts(ready.guide))
    put(world, after)
    qtbot.waitUntil(lambda: world.engine.resets == 1)


def test_the_result_has_a_forecast_and_makes_room_again(
    qtbot: Any, ready: MainWindow, world: Any, monkeypatch: Any
) -> None:
    put(world, SessionState(Step.DONE, Cue.DONE, 0.0, opinion=FAIR, forecast=FORECAST))
    qtbot.waitUntil(ready.guide.isVisible)
    shown = "\n".join(texts(ready.guide))
    assert words.cue_sentence("done") in shown
    assert words.forecast_sentence(0.05, 0.1, 240.0) in shown
    assert not ready.guide.skip_button.isVisible()
    ready.guidance.show_state(world.engine.snapshot, time.monotonic() + RESULT_S + 1.0, old=False)
    qtbot.waitUntil(ready.card.isVisible)


def test_a_take_is_watched_by_the_live_verdict(qtbot: Any, ready: MainWindow, world: Any) -> None:
    qtbot.keyClick(ready, Qt.Key.Key_G)
    qtbot.waitUntil(ready.guide.isVisible)
    qtbot.keyClick(ready, Qt.Key.Key_Space)
    qtbot.waitUntil(ready.card.isVisible)
    qtbot.waitUntil(lambda: not ready.card.guide_button.isEnabled())
    qtbot.keyClick(ready, Qt.Key.Key_G)
    assert world.engine.session_for is None, "the gain stays where it is in a take"


def test_the_session_belongs_to_the_channel_shown(
    qtbot: Any, window: MainWindow, world: Any, fakes: Any
) -> None:
    world.engine.snapshot = fakes.running(Verdict.FAIR_WATER, Verdict.AWASH)
    put(world, None)
    window.choose_channel(0)
    qtbot.waitUntil(window.harbour.isVisible)
    window.begin_guidance()
    assert world.engine.session_for == 0
    window.choose_channel(-1)
    qtbot.waitUntil(window.guide.isVisible)
    assert words.guide_title("Channel 1") in texts(window.guide)
    qtbot.wait(1700)
    assert window.channel == 0, "the chart stays with it, whatever is worse"


@pytest.mark.parametrize("step", Step)
@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_the_guides_texts_lie_within_it(qtbot: Any, step: Step, scale: float) -> None:
    guide = Guide(Theme(text_scale=scale))
    qtbot.addWidget(guide)
    guide.resize(330, 300)
    guide.show()
    state = SessionState(step, Cue.PLAY_LOUDER, 0.4, -6, -3.0, FAIR, 1, -70.0, FORECAST)
    guide.show_session(state, "Overhead left", 2, old=False)
    qtbot.wait(20)
    for label in guide.findChildren(QLabel):
        if label.isVisible() and label.text():
            need = label.fontMetrics().boundingRect(
                label.contentsRect(), int(Qt.TextFlag.TextWordWrap) if label.wordWrap() else 0, label.text()
            )
            assert need.width() <= label.width() + 2, label.text()
            assert need.height() <= label.height() + 2, label.text()
    assert "…" not in guide.accessibleDescription()
    assert guide.accessibleName()


def test_the_forecast_is_a_sentence_on_the_card(qtbot: Any, ready: MainWindow, world: Any) -> None:
    sentence = words.forecast_sentence(0.05, 0.1, 240.0)
    qtbot.waitUntil(lambda: "High water" in texts(ready.card))
    assert sentence not in texts(ready.card)
    world.engine.snapshot = replace(world.engine.snapshot, forecast=FORECAST)
    qtbot.waitUntil(lambda: sentence in texts(ready.card))


def test_why_explains_and_escape_closes(qtbot: Any, ready: MainWindow) -> None:
    qtbot.waitUntil(lambda: "High water" in texts(ready.card))
    qtbot.keyClick(ready, Qt.Key.Key_W)
    assert ready.why.isVisible()
    assert ready.why.text.hasFocus()
    assert advice.explanation("high_water") in ready.why.text.toPlainText()
    assert advice.term_explanation("low_gain") in ready.why.text.toPlainText()
    qtbot.keyClick(ready.why.text, Qt.Key.Key_Escape)
    assert not ready.why.isVisible()
    assert ready.chart.isVisible()


def test_the_part_follows_the_player_until_the_user_chooses(
    qtbot: Any, window: MainWindow, world: Any
) -> None:
    window.listening.open_input("player:bass")
    assert world.parts[-1] == "bass"
    assert window.picker.parts.currentData() == "bass"
    window.listening.choose_part("voice")
    window.listening.open_input("device:interface")
    window.listening.open_input("player:bass")
    assert world.parts[-1] == "voice"


def test_a_whole_session_with_the_real_player(qtbot: Any, world: Any) -> None:
    """The knob is turned by what the window says; the next pass must need no further turn."""
    player = PlayerSource("bass", 9.0, speed=12.0)
    engine = Engine(Coach)
    services = replace(
        world.services(),
        engine=engine,
        open_input=lambda _spec: player,
        make_session=lambda _part, _channel: (
            lambda hop_s: GuidedSession(shipped_parts()["bass"], Target(), hop_s)
        ),
    )
    window = MainWindow(services)
    qtbot.addWidget(window)
    window.show()
    asked: list[int] = []

    def done() -> bool:
        state = engine.snapshot.session
        if state is not None and state.step is Step.TURN and len(asked) < state.moves:
            asked.append(state.gain_change_db)
            player.gain_db += state.gain_change_db
        return state is not None and state.step is Step.DONE

    try:
        qtbot.waitUntil(lambda: bool(engine.snapshot.average_dbfs))
        window.begin_guidance()
        qtbot.waitUntil(window.guide.isVisible)
        # Fifty seconds of sound: four of work on a quiet machine, many on a busy one.
        qtbot.waitUntil(done, timeout=150_000)
        qtbot.waitUntil(lambda: words.cue_sentence("done") in texts(window.guide))
    finally:
        window.shut_down()
    assert asked
    assert asked[0] < 0
    assert -6.0 <= player.gain_db <= 4.0


def test_why_tells_what_the_trade_says_of_the_part(qtbot: Any) -> None:
    why = Why(Theme("dark", 1.0))
    qtbot.addWidget(why)
    why.explain(None, PartChoice("gong", "Gong", ("Stand well back & <listen>.",)))
    assert "Gong\nStand well back & <listen>." in why.text.toPlainText()
    why.explain(None)
    assert "Gong" not in why.text.toPlainText()
