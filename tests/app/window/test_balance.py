"""The page about the headphone balance: from dropped files to copies, and playing along."""

from __future__ import annotations

import threading
import time
from dataclasses import fields, replace

import numpy as np
import pytest
import soundfile
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from app.check.quieter import write_quieter
from app.check.tracks import measure_track
from app.engine.bleedwatch import BleedView
from app.engine.snapshot import InputState, Snapshot
from app.errors import DeviceError
from app.inputs.outputs import FakeOutput, OutputInfo
from app.inputs.playback import Headphones
from app.inputs.source import Block, SourceInfo
from app.window.actions import Actions
from app.window.balance import BalancePage
from app.window.balanceports import BalanceServices
from app.window.errands import Errands
from app.window.pages import PageTools
from app.window.theme import PALETTES, Theme
from dsp.bleed import Bleed

RATE_HZ = 16_000
INFO = SourceInfo("device:x", "x", RATE_HZ, 2, live=True, latency_s=0.03)
OUTPUTS = (
    OutputInfo(0, "Desk", "ALSA", 2, 48_000.0, is_default=True),
    OutputInfo(1, "Dock", "ALSA", 2, 44_100.0, is_default=False),
)


def noise(seconds, rms_dbfs, low_hz, high_hz, seed, channels=2):
    frames = round(seconds * RATE_HZ)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=(frames, channels)), axis=0)
    frequencies = np.fft.rfftfreq(frames, 1 / RATE_HZ)
    spectrum[(frequencies < low_hz) | (frequencies >= high_hz)] = 0.0
    wave = np.fft.irfft(spectrum, frames, axis=0)
    return wave * (10 ** (rms_dbfs / 20) / np.sqrt(2 * np.mean(wave**2)))


PART = noise(10, -24, 300, 3000, 1, channels=1)


class Evening:
    """The page with everything around it faked but the files and the measuring."""

    def __init__(self, qtbot, world, folder):
        self.folder = folder
        self.listeners = []
        self.outputs = []
        self.refuse = None
        self.told = []
        self.errands = Errands()
        self.memory = world.memory
        self.window = QWidget()
        qtbot.addWidget(self.window)
        balance = BalanceServices(
            measure=self._measure,
            write=write_quieter,
            listen=self.listeners.append,
            leave=self.listeners.remove,
            list_outputs=lambda: OUTPUTS,
            headphones=Headphones(self._output),
        )
        self.actions = Actions(self.window, world.memory)
        known = {
            "services": replace(world.services(), balance=balance),
            "theme": Theme(),
            "errands": self.errands,
            "tell": self.told.append,
            "actions": self.actions,
        }
        # The rest of the window is of no concern to this page.
        tools = PageTools(**{each.name: known.get(each.name, lambda *_: None) for each in fields(PageTools)})
        self.page = BalancePage(tools)
        self.page.setParent(self.window)
        self.window.resize(1000, 500)
        self.page.resize(1000, 500)

    measure = staticmethod(measure_track)

    def _measure(self, path, tell):
        return self.measure(path, tell)  # which a test may change

    def _output(self, name):
        self.outputs.append(FakeOutput(refuse=self.refuse))
        self.outputs[-1].name = name
        return self.outputs[-1]

    def file(self, name, samples):
        soundfile.write(self.folder / name, samples, RATE_HZ, "PCM_24")
        return self.folder / name

    def finished(self, name="song.wav"):
        """Dense, and as loud as a finished track."""
        wave = noise(12, -9, 0, 8000, 2)
        return self.file(name, np.clip(wave, -0.85, 0.85))

    def settle(self):
        """Until nothing is under way any more."""
        deadline_s = time.monotonic() + 60
        while self.errands._under_way:
            assert time.monotonic() < deadline_s, "errands do not end"
            self.errands.wait(0.05)
            self.errands.collect()

    def drop(self, *paths):
        self.page.take_paths(paths)
        self.settle()

    def play(self, samples, channel=1):
        """Something is played into the input, and the page looks."""
        state = Snapshot(InputState.RUNNING, INFO, noise_floor_dbfs=(-80.0, -80.0))
        self.page.show_state(state, time.monotonic(), channel)
        self.settle()
        both = np.zeros((samples.shape[0], 2), np.float32)
        both[:, channel] = samples[:, 0]
        for start in range(0, both.shape[0], 1600):
            for listener in self.listeners:
                listener(INFO, Block(both[start : start + 1600]))
        self.page.desk._next_look_s = self.page.desk._next_advice_s = 0.0
        self.page.show_state(state, time.monotonic(), channel)
        self.settle()

    @property
    def advice(self):
        return self.page.advice.text()


@pytest.fixture
def evening(qtbot, world, tmp_path):
    evening = Evening(qtbot, world, tmp_path)
    yield evening
    evening.page.shut_down()
    evening.settle()


def test_before_there_is_a_backing_it_says_what_to_drop(evening):
    page = evening.page
    page.enter()
    assert page._hear.currentWidget() is page._hint
    assert "Drop a backing track" in page._hint.label.text()
    assert not page.play_button.isEnabled()
    assert not page.save_button.isEnabled()
    assert "local rules and a hearing professional decide" in page.care.text()


def test_a_finished_track_goes_down_ten_before_anything_was_heard(evening):
    evening.page.enter()
    evening.drop(evening.finished())
    assert evening.advice == "Pull the backing down 10 dB."
    assert "finished track" in evening.page.reason.text()
    care = evening.page.care.text().splitlines()
    assert care[0].startswith("1. Turn the headphones down before anything")
    assert "leave the gain where it is" in care[1]
    assert "small steps" in care[2]
    assert "hearing professional" in care[3]
    assert evening.page.play_button.isEnabled()
    assert "No part has been heard" in evening.page.picture.accessibleDescription()


def test_the_part_is_heard_while_it_is_played(evening):
    evening.page.enter()
    evening.drop(evening.finished())
    evening.play(PART)
    (amount,) = evening.page.desk.pull_down_db
    assert 10 <= amount <= 24
    assert evening.advice == f"Pull the backing down {amount} dB."
    assert "Heard for 0:07" in evening.page.part_state.text()
    assert "The part is lost for 0:12 of the song" in evening.page.picture.accessibleDescription()
    assert "now, 100 % then" in evening.page.pitch.accessibleDescription()
    evening.page.anew_button.click()
    evening.settle()
    assert evening.advice == "Pull the backing down 10 dB."
    assert evening.page.part_state.text().startswith("Not heard yet")


def test_noise_of_the_room_is_no_part(evening):
    evening.page.enter()
    evening.drop(evening.finished())
    evening.play(noise(10, -79, 0, 8000, 3, channels=1))
    assert evening.advice == "Pull the backing down 10 dB."


def test_a_live_part_is_advised_for_rarely_enough(evening):
    evening.page.enter()
    evening.drop(evening.finished())
    evening.play(PART)
    desk = evening.page.desk
    before = desk.balance
    assert desk._next_advice_s > time.monotonic() + 1.0
    # A look hears the part go on, and lets the advice rest.
    state = Snapshot(InputState.RUNNING, INFO, noise_floor_dbfs=(-80.0, -80.0))
    desk._next_look_s = 0.0
    evening.page.show_state(state, time.monotonic(), 1)
    evening.settle()
    assert desk.balance is before


def test_nobody_listens_while_the_page_is_closed(evening):
    evening.page.enter()
    assert len(evening.listeners) == 1
    evening.page.leave()
    assert not evening.listeners
    evening.page.enter()
    assert len(evening.listeners) == 1


def test_a_part_from_a_file_and_the_players_own_wish(evening):
    evening.page.enter()
    evening.drop(evening.finished())
    evening.page.desk.set_part_file(evening.file("part.wav", PART))
    evening.settle()
    (amount,) = evening.page.desk.pull_down_db
    assert evening.page.part.currentText() == "From part.wav"
    assert not evening.page.anew_button.isVisibleTo(evening.page)
    evening.page.more_me.setValue(5)
    evening.settle()
    assert evening.page.desk.pull_down_db == (amount + 5,)
    assert evening.page.more_me_value.text() == "5 dB more"
    assert "includes the 5 dB more of yourself" in evening.page.reason.text()


def test_several_stems_have_amounts_of_their_own(evening):
    evening.page.enter()
    in_the_way = evening.file("guitar.wav", noise(12, -12, 300, 3000, 4))
    elsewhere = evening.file("cymbals.wav", noise(12, -12, 5000, 8000, 5))
    evening.page.desk.set_part_file(evening.file("part.wav", PART))
    evening.drop(in_the_way, elsewhere)
    guitar, cymbals = evening.page.desk.pull_down_db
    assert guitar > cymbals
    rows = evening.page.files._rows
    assert rows[0].amount.text() == f"{guitar} dB down"
    assert "in the way" in rows[0].note.text()
    assert "alike would take" in evening.page.reason.text()
    rows[0].remove.click()
    evening.settle()
    assert [entry.path for entry in evening.page.desk.backing] == [elsewhere]
    assert len(evening.page.desk.pull_down_db) == 1


def test_a_file_that_cannot_be_read_says_why_and_the_rest_is_advised(evening):
    broken = evening.folder / "broken.wav"
    broken.write_bytes(b"RIFF" + bytes(100))
    short = evening.file("short.wav", noise(2.0, -12, 0, 8000, 6))
    evening.drop(broken, evening.finished(), short)
    rows = evening.page.files._rows
    assert "broken.wav" in rows[0].note.text()
    assert "at least 3 s are needed" in rows[2].note.text()
    assert evening.advice == "Pull the backing down 10 dB."
    evening.page.desk.set_part_file(evening.file("silent.wav", np.zeros((5 * RATE_HZ, 1))))
    evening.settle()
    assert "it is silent" in evening.page.part_state.text()


def test_measuring_shows_how_far_it_is_and_can_be_left(evening):
    began, go_on = threading.Event(), threading.Event()

    def slow(path, tell):
        tell(0.25)
        began.set()
        assert go_on.wait(30)
        tell(0.5)
        raise AssertionError("nobody wanted it any more")

    evening.measure = slow
    evening.page.take_paths([evening.finished()])
    assert began.wait(30)
    evening.page.show_state(Snapshot(), time.monotonic(), 0)
    assert evening.page.state.text() == "Measuring, 25 %"
    assert evening.page.files._rows[0].note.text() == "Measuring, 25 %"
    evening.page.cancel_button.click()
    go_on.set()
    evening.settle()
    assert not evening.page.desk.backing
    assert not evening.told
    assert evening.page._hear.currentWidget() is evening.page._hint


def test_copies_are_saved_where_one_says_and_never_over_anything(evening):
    evening.drop(evening.finished())
    before = (evening.folder / "song.wav").read_bytes()
    folder = evening.folder / "quiet"
    for _ in range(2):
        evening.page.save_copies(folder)
        evening.settle()
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["song -10 dB (2).wav", "song -10 dB.wav"]
    assert "Saved" in evening.page.state.text()
    assert (evening.folder / "song.wav").read_bytes() == before
    taken = evening.folder / "taken"
    taken.write_text("a file, no folder")
    evening.page.save_copies(taken)
    evening.settle()
    assert "no turned-down copy could be saved" in evening.told[0].sentence


# Playing along


def begin(evening, amount=10):
    evening.page.enter()
    evening.drop(evening.finished())
    evening.page.toggle_playing()
    evening.settle()
    assert evening.page.playing.running
    return evening.outputs[-1]


def test_it_plays_at_the_advised_level_and_stops_at_once(evening):
    output = begin(evening)
    assert output.pump(480).any()
    assert np.abs(output.pump(4800)).max() < 0.02, "it begins 40 dB lower"
    page = evening.page
    assert page.play_button.text().startswith("Stop")
    page.show_state(Snapshot(InputState.RUNNING, INFO), time.monotonic(), 0)
    page._look_at_playing()
    said = page.play_state.text()
    assert "round trip of 50 ms (30 ms in, 20 ms out)" in said
    assert "direct monitoring" in said
    evening.actions.run("hush")
    assert not output.pump(4800)[400:].any()
    evening.settle()
    assert output.stopped
    assert not page.playing.running
    assert page.play_button.text().startswith("Play along")


def test_escape_stops_the_playing_before_it_closes_the_page(evening):
    begin(evening)
    assert evening.page.step_back()
    evening.settle()
    assert not evening.page.playing.running
    assert not evening.page.step_back()


def test_it_goes_on_when_the_page_is_closed_and_follows_the_advice(evening):
    begin(evening)
    evening.page.leave()
    assert evening.page.playing.running
    evening.page.more_me.setValue(6)
    evening.settle()
    assert evening.page.playing.playback._wanted_db == (-16.0,)


def test_another_backing_ends_what_plays(evening):
    output = begin(evening)
    evening.drop(evening.finished("other.wav"))
    assert output.finished
    assert not evening.page.playing.running


def test_what_keeps_it_from_playing_is_told(evening):
    evening.refuse = DeviceError("The headphones say no.")
    evening.page.enter()
    evening.drop(evening.finished())
    evening.page.toggle_playing()
    evening.settle()
    assert [error.sentence for error in evening.told] == ["The headphones say no."]
    assert not evening.page.playing.running
    assert evening.page.play_button.isEnabled()


def test_stopping_while_a_driver_opens_leaves_nothing_playing(evening):
    opening, go_on = threading.Event(), threading.Event()

    class Slow(FakeOutput):
        def open(self):
            opening.set()
            assert go_on.wait(30)

    outputs = []
    evening.page._services.headphones._make_output = lambda _name: outputs.append(Slow()) or outputs[-1]
    evening.drop(evening.finished())
    evening.page.toggle_playing()
    assert opening.wait(30)
    evening.page.hush()
    go_on.set()
    evening.settle()
    assert outputs[0].finished
    assert outputs[0].stopped
    assert not evening.page.playing.running
    assert not evening.listeners


def test_bleed_is_told_on_the_page_and_in_the_banner_while_it_is_closed(evening):
    begin(evening)
    page = evening.page
    page.playing.bleed = BleedView(True, Bleed(0.1, -40.0, 18.0))
    page.playing._next_look_s = time.monotonic() + 1000.0
    page._look_at_playing()
    page._look_at_playing()
    assert "about 18 dB under everything else" in page.play_state.text()
    assert [error.sentence for error in evening.told if "heard in the microphone" in error.sentence]
    assert len(evening.told) == 1, "once"


def test_the_output_is_chosen_and_remembered(evening):
    page = evening.page
    page.enter()
    evening.settle()
    labels = [page.output.itemText(place) for place in range(page.output.count())]
    assert labels == ["The system's output", "Desk (ALSA), the system's output", "Dock (ALSA)"]
    page.output.setCurrentIndex(2)
    page.output.activated.emit(2)
    evening.settle()
    assert evening.memory["output"] == "ALSA/Dock"
    evening.drop(evening.finished())
    page.toggle_playing()
    evening.settle()
    assert evening.outputs[-1].name == "ALSA/Dock"


def test_closing_the_program_is_silent_and_leaves_no_thread(evening):
    output = begin(evening)
    evening.page.shut_down()
    assert output.finished
    assert not evening.listeners
    evening.settle()
    assert not [t for t in threading.enumerate() if t.name.startswith("swellmark-playback")]


def test_it_is_drawn_in_every_look_and_size(evening):
    page = evening.page
    evening.drop(evening.finished(), evening.finished("drums with a very long name indeed.wav"))
    page.desk.set_part_file(evening.file("part.wav", PART))
    evening.settle()
    page.picture.show_position(3.0)
    for name in PALETTES:
        for size, scale in (((1000, 380), 1.0), ((1000, 380), 2.0), ((1250, 600), 1.0), ((300, 100), 1.0)):
            page.set_theme(Theme(name, scale))
            page.resize(*size)
            assert not page.grab().isNull()


def test_every_control_is_reached_and_named(evening):
    evening.drop(evening.finished())
    for stop in evening.page.stops:
        assert stop.focusPolicy() & Qt.FocusPolicy.TabFocus
        assert stop.accessibleName(), stop
