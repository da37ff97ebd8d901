"""Takes that begin and end by what is heard: sounds whose moments are known, through the real chain."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from app.coach.judgement import CoachReport, Judgement, Reason, Verdict
from app.engine.events import Event, EventKind
from app.engine.handsfree import LEAD_S, TAIL_S, HandsFree, Phase, Wishes
from app.engine.snapshot import HopReport
from app.inputs.source import SourceInfo
from dsp.chain import Chain

RATE_HZ = 16_000
HOP = 160
COACH = CoachReport((Judgement(Verdict.SLACK, 0, Reason.NOTHING_HEARD),), 0)


def seconds(count):
    return np.arange(round(count * RATE_HZ)) / RATE_HZ


def noise(count, dbfs=-75.0, seed=1):
    """Gaussian noise of this RMS level after AES17."""
    rms = 10 ** (dbfs / 20) / np.sqrt(2)
    return np.random.default_rng(seed).normal(0.0, rms, round(count * RATE_HZ))


def tone(count, dbfs=-12.0, hz=220.0):
    return 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * seconds(count))


def note(count, dbfs=-9.0, hz=220.0, decay_s=0.8):
    """A plucked note."""
    t_s = seconds(count)
    return tone(count, dbfs, hz) * np.exp(-t_s / decay_s)


def melody(count, every_s=0.5, dbfs=-9.0):
    notes = [note(every_s, dbfs, hz) for hz in (196.0, 220.0, 247.0, 262.0, 294.0, 330.0)]
    return np.concatenate([notes[i % len(notes)] for i in range(round(count / every_s))])


def mains(count):
    """Hum of 50 Hz with three of its harmonics."""
    return sum(
        tone(count, dbfs, hz) for hz, dbfs in ((50.0, -30.0), (100.0, -38.0), (150.0, -36.0), (250.0, -45.0))
    )


def knock(dbfs=-3.0):
    """A knock at the stand: a low thump that dies away."""
    return note(0.6, dbfs, 70.0, 0.05)


def place(count, *sounds, floor_dbfs=-75.0):
    """Sounds at their second, in the noise of a room."""
    samples = noise(count, floor_dbfs)
    for at_s, sound in sounds:
        first = round(at_s * RATE_HZ)
        samples[first : first + sound.size] += sound[: samples.size - first]
    return samples


@dataclass
class Keeper:
    """Keeps the frames of each take, as the real one would."""

    takes: list[list[int]] = field(default_factory=list)
    events: list[list[Event]] = field(default_factory=list)
    running: bool = False
    asked: bool = False
    after_end: list[int] = field(default_factory=list)

    def begin(self):
        self.asked = True

    def end(self):
        self.asked = self.running = False

    def takes_now(self):
        return self.running or self.asked

    def __call__(self, report):
        if self.asked:
            self.takes.append([report.reading.start_frame, report.reading.start_frame])
            self.events.append([])
            self.asked, self.running = False, True
        if self.running:
            assert report.reading.start_frame >= self.takes[-1][1], "in order, and nothing twice"
            self.takes[-1][1] = report.reading.start_frame + report.reading.frames
            self.events[-1] += report.events

    @property
    def places_s(self):
        return [(first / RATE_HZ, last / RATE_HZ) for first, last in self.takes]


class Stage:
    """An input, what watches it, and the keeper behind."""

    def __init__(self, wishes=Wishes(on_sound=True, quiet_s=3.0)):  # noqa: B008 - frozen
        self.keeper = Keeper()
        self.handsfree = HandsFree(
            self.keeper, takes=self.keeper.takes_now, begin=self.keeper.begin, end=self.keeper.end
        )
        self.handsfree.wish(wishes)
        self.phases: list[Phase] = []
        self.chain = Chain(RATE_HZ, 1)
        self.info = SourceInfo("fake", "Input 1", RATE_HZ, 1, live=True)
        self.lost_frames = 0

    def play(self, samples, hops=10, events=None):
        """Hand over, ``hops`` at a time; ``events`` are kinds by the block in which they happen."""
        frames = hops * HOP
        for index, start in enumerate(range(0, samples.size, frames)):
            block = samples[start : start + frames, np.newaxis].astype(np.float32)
            reading = self.chain.process(block)
            if reading is None:
                continue
            kinds = [(events or {}).get(index)] if (events or {}).get(index) else []
            happened = [Event(kind, reading.start_frame, 0.0) for kind in kinds]
            self.hand(HopReport(self.info, reading, COACH, happened, self.lost_frames))
        return self

    def lose(self, frames):
        reading = self.chain.gap(frames)
        self.lost_frames += frames
        self.hand(HopReport(self.info, reading, COACH, [Event(EventKind.GAP, 0, 0.0)], self.lost_frames))

    def hand(self, report):
        self.handsfree(report)
        phase = self.handsfree.state.phase
        if not self.phases or self.phases[-1] is not phase:
            self.phases.append(phase)


@pytest.fixture
def stage():
    return Stage()


def test_a_take_has_its_first_note_whole_and_a_moment_before_it(stage):
    stage.play(place(12.0, (5.0, melody(7.0))))
    ((start_s, _),) = stage.keeper.places_s
    assert start_s == pytest.approx(5.0 - LEAD_S, abs=0.15)
    assert start_s < 5.0
    assert stage.phases == [Phase.WAITING, Phase.TAKING]


def test_a_take_ends_a_moment_after_the_last_note_and_the_next_one_begins_with_the_next(stage):
    stage.play(place(30.0, (4.0, melody(6.0)), (18.0, melody(5.0))))
    (first, second) = stage.keeper.places_s
    # The last note falls off by 60 dB in 5.5 s, of which half a second is heard here.
    assert first[1] == pytest.approx(10.0 + 0.5 + TAIL_S, abs=0.6)
    assert second[0] == pytest.approx(18.0 - LEAD_S, abs=0.15)
    assert stage.phases == [
        *(Phase.WAITING, Phase.TAKING, Phase.QUIET),
        *(Phase.WAITING, Phase.TAKING, Phase.QUIET, Phase.WAITING),
    ]


def test_a_rest_in_the_music_is_part_of_the_take(stage):
    stage.play(place(20.0, (4.0, melody(3.0)), (9.3, melody(3.0))))
    ((start_s, end_s),) = stage.keeper.places_s
    assert start_s < 4.0
    assert end_s > 12.3
    assert stage.phases.count(Phase.QUIET) >= 1


def test_the_quiet_that_is_left_is_counted_down(stage):
    stage.play(place(7.0, (3.0, melody(2.0))))
    left_s = [stage.handsfree.state.quiet_left_s]
    stage.play(noise(0.5))
    left_s.append(stage.handsfree.state.quiet_left_s)
    assert left_s[0] < 3.0
    assert left_s[0] - left_s[1] == pytest.approx(0.5, abs=0.101)


@pytest.mark.parametrize(
    ("name", "sound"),
    [
        ("a quiet room", place(8.0)),
        ("loud hiss from the beginning", noise(10.0, -42.0)),
        ("very loud hiss from the beginning", noise(10.0, -25.0)),
        ("hum from the beginning", place(14.0, (0.0, mains(14.0)))),
        ("hum that sets in", place(18.5, (5.0, mains(13.5)))),
        ("hiss that sets in", place(14.0, (5.0, noise(9.0, -40.0, seed=2)))),
        ("an amplifier with a thump", place(14.0, (5.0, knock()), (5.0, noise(9.0, -45.0, seed=2)))),
        ("a knock", place(10.0, (5.0, knock()))),
        ("a knock at once", place(8.0, (0.3, knock()))),
        ("a loud knock in digital silence", np.pad(knock(0.0), (5 * RATE_HZ, 4 * RATE_HZ))),
        ("a click", place(9.0, (5.0, np.full(32, 0.9)))),
        ("two knocks", place(11.0, (5.0, knock()), (6.0, knock(-10.0)))),
    ],
)  # fmt: skip
def test_what_is_no_playing_begins_no_take(stage, name, sound):
    stage.play(sound)
    assert stage.keeper.places_s == [], name


@pytest.mark.parametrize("hz", [40.0, 100.0, 250.0])
def test_rumble_begins_no_take(stage, hz):
    # Noise below this frequency: its level swings more than that of hiss.
    spectrum = np.fft.rfft(noise(10.0, 0.0))
    spectrum[np.fft.rfftfreq(10 * RATE_HZ, 1 / RATE_HZ) > hz] = 0.0
    rumble = np.fft.irfft(spectrum, 10 * RATE_HZ)
    rumble *= 10 ** (-50 / 20) / np.sqrt(2) / rumble.std()
    stage.play(place(10.0, (0.0, rumble), floor_dbfs=-90.0))
    assert stage.keeper.places_s == []


@pytest.mark.parametrize(
    ("name", "sound", "at_s"),
    [
        ("a soft part", melody(6.0, dbfs=-40.0), 6.0),
        ("slow drum hits", np.concatenate([np.append(knock(-6.0), np.zeros(8_000)) for _ in range(6)]), 6.0),
        ("long notes", np.concatenate([tone(2.0, -20.0, 196.0), tone(2.0, -24.5, 247.0)]), 6.0),
        ("a swell", tone(4.0, -12.0) * np.linspace(0.0, 1.0, 4 * RATE_HZ) ** 2, 6.0),
        ("one long note that dies away", note(5.0, -9.0, decay_s=1.5), 6.0),
        ("playing in a loud room", melody(6.0, dbfs=-10.0), 6.0),
        ("a tone that is held", tone(11.0, -20.0, 131.0), 6.0),
    ],
)
def test_playing_begins_one_with_nothing_missing(stage, name, sound, at_s):
    floor_dbfs = -48.0 if "loud room" in name else -75.0
    stage.play(place(at_s + sound.size / RATE_HZ, (at_s, sound), floor_dbfs=floor_dbfs))
    ((start_s, _),) = stage.keeper.places_s
    assert at_s - LEAD_S - 0.2 <= start_s <= at_s, name


def test_playing_from_the_first_frame_on_begins_one_with_the_stream(stage):
    stage.play(melody(6.0) + noise(6.0))
    ((start_s, _),) = stage.keeper.places_s
    assert start_s < 0.3


def test_after_a_set_time_it_ends_and_the_next_waits_for_a_pause():
    stage = Stage(Wishes(on_sound=True, length_s=4.0))
    stage.play(place(22.0, (3.0, melody(8.0)), (16.0, melody(3.0))))
    first, second = stage.keeper.places_s
    assert first[1] - first[0] == pytest.approx(4.0, abs=0.101)
    assert second[0] == pytest.approx(16.0 - LEAD_S, abs=0.15)


def test_the_time_ends_takes_that_a_hand_began():
    stage = Stage(Wishes(length_s=2.0))
    stage.play(melody(1.0))
    stage.handsfree.begun_by_hand()
    stage.keeper.begin()
    stage.play(melody(1.0))
    assert stage.handsfree.state.length_left_s == pytest.approx(1.0, abs=0.011)
    stage.play(melody(2.0))
    ((start_s, end_s),) = stage.keeper.places_s
    assert (start_s, end_s) == (1.0, 3.0)
    assert stage.phases == [Phase.OFF, Phase.TAKING, Phase.OFF]


def test_quiet_does_not_end_what_a_hand_began(stage):
    stage.play(noise(3.0))
    stage.handsfree.begun_by_hand()
    stage.keeper.begin()
    stage.play(place(14.0, (1.0, melody(2.0))))
    assert stage.keeper.places_s == [(3.0, 17.0)]
    assert stage.handsfree.state.quiet_left_s is None


def test_what_a_hand_ended_is_not_begun_again_by_the_same_playing(stage):
    stage.play(place(8.0, (3.0, melody(5.0))))
    assert stage.handsfree.state.phase is Phase.TAKING
    stage.keeper.end()
    stage.play(melody(3.0) + noise(3.0))
    assert len(stage.keeper.takes) == 1
    stage.play(place(8.0, (4.0, melody(4.0))))
    assert stage.keeper.places_s[1][0] == pytest.approx(15.0 - LEAD_S, abs=0.15)


def test_a_wish_shows_at_once(stage):
    assert stage.handsfree.state.phase is Phase.WAITING
    stage.handsfree.wish(Wishes())
    assert stage.handsfree.state.phase is Phase.OFF


def test_nothing_begins_while_it_is_off():
    stage = Stage(Wishes(quiet_s=3.0))
    stage.play(place(10.0, (3.0, melody(7.0))))
    assert stage.keeper.takes == []
    assert stage.phases == [Phase.OFF]


def test_what_happens_in_the_quiet_is_not_cut_off_with_it(stage):
    stage.play(place(6.0, (3.0, melody(3.0))))
    stage.play(noise(2.5), events={20: EventKind.CLIP})
    stage.play(noise(6.0))
    ((_, end_s),) = stage.keeper.places_s
    assert [event.kind for event in stage.keeper.events[0]] == [EventKind.CLIP]
    assert end_s == pytest.approx(8.1, abs=0.011), "up to what happened, and no further"


def test_a_hole_in_the_stream_is_no_quiet(stage):
    stage.play(place(6.0, (3.0, melody(3.0))))
    stage.lose(10 * RATE_HZ)
    stage.play(place(6.0, (1.0, melody(5.0))))
    assert len(stage.keeper.takes) == 1
    assert stage.keeper.places_s[0][1] == 22.0


def test_a_take_does_not_reach_back_over_a_hole(stage):
    stage.play(noise(6.0))
    stage.lose(RATE_HZ)
    stage.play(place(4.0, (0.5, melody(3.5))))
    ((start_s, _),) = stage.keeper.places_s
    assert start_s == 7.0


def test_an_input_that_ends_in_the_quiet_keeps_it(stage):
    stage.play(place(8.0, (3.0, melody(3.0))))
    assert stage.handsfree.state.phase is Phase.QUIET
    stage.handsfree.input_gone()
    assert stage.keeper.places_s[0][1] == 8.0


def test_the_size_of_the_blocks_changes_little():
    for hops in (1, 7, 50):
        stage = Stage()
        stage.play(place(10.0, (3.0, melody(3.0))), hops=hops)
        ((start_s, end_s),) = stage.keeper.places_s
        assert start_s == pytest.approx(1.0, abs=0.15 + hops / 100)
        assert end_s == pytest.approx(7.4, abs=0.6 + hops / 100)
