"""Sound to measure: a sampled sound font played by fluidsynth, and speech by espeak-ng.

Everything is written here, note by note, from seeded random numbers; nothing is quoted from anywhere. Both
programs come with Debian: ``apt install fluidsynth fluid-soundfont-gm espeak-ng``.
"""

from __future__ import annotations

import math
import shutil
import struct
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

SOUND_FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")

DRUM_KIT = -1
"""The ``program`` that means the percussion channel instead of an instrument."""

_TICKS_PER_S = 960
_DRUM_CHANNEL = 9


@dataclass(frozen=True, slots=True)
class Note:
    """One note: when, how long, which MIDI key (60 = middle C), how hard (1 to 127)."""

    start_s: float
    length_s: float
    key: int
    velocity: int = 90


def available() -> bool:
    """Whether both programs and the sound font are there."""
    return SOUND_FONT.exists() and all(shutil.which(tool) for tool in ("fluidsynth", "espeak-ng"))


def lacking() -> bool:
    """Whether something is missing, which is said."""
    if available():
        return False
    print("needs Debian's fluidsynth, fluid-soundfont-gm and espeak-ng", file=sys.stderr)
    return True


def render_midi(
    notes: Iterable[Note],
    program: int,
    rate_hz: int = 48_000,
    *,
    room: bool = False,
    gain: float = 0.2,
    length_s: float | None = None,
) -> npt.NDArray[np.float32]:
    """Play notes on one General MIDI instrument.

    Parameters
    ----------
    notes
        What to play, in any order.
    program
        0 to 127, or :data:`DRUM_KIT`.
    rate_hz
        8000 to 96000.
    room
        Whether the synthesiser adds its reverberation and chorus.
    gain
        The synthesiser's gain; float samples, so nothing clips whatever it is.
    length_s
        Cut or fill up to this length; by default the last note rings out.

    Returns
    -------
    (frames, 2) float32.
    """
    with tempfile.TemporaryDirectory() as folder:
        score, sound = Path(folder) / "score.mid", Path(folder) / "sound.wav"
        score.write_bytes(_midi_file(sorted(notes, key=lambda note: note.start_s), program))
        effects = [] if room else ["-R", "0", "-C", "0"]
        command = ["fluidsynth", "-n", "-i", "-q", *effects, "-g", str(gain), "-r", str(rate_hz)]
        command += ["-T", "wav", "-O", "float", "-F", str(sound), str(SOUND_FONT), str(score)]
        subprocess.run(command, check=True, capture_output=True)
        samples, _ = soundfile.read(sound, dtype="float32", always_2d=True)
    return samples if length_s is None else _fit(samples, round(length_s * rate_hz))


def speak(
    text: str, rate_hz: int = 48_000, *, voice: str = "en", words_per_minute: int = 150
) -> npt.NDArray[np.float32]:
    """Say a text: (frames, 1) float32, resampled from the speaker's own 22 050 Hz."""
    from scipy.signal import resample_poly  # slow to import, and not every bench speaks

    with tempfile.TemporaryDirectory() as folder:
        sound = Path(folder) / "speech.wav"
        command = ["espeak-ng", "-v", voice, "-s", str(words_per_minute), "-w", str(sound), "--stdin"]
        subprocess.run(command, input=text.encode(), check=True, capture_output=True)
        samples, own_hz = soundfile.read(sound, dtype="float32", always_2d=True)
    common = math.gcd(rate_hz, own_hz)
    return np.asarray(resample_poly(samples, rate_hz // common, own_hz // common, axis=0), np.float32)


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a band, and how it is played."""

    name: str
    program: int
    play: Callable[[np.random.Generator, float], list[Note]]


def render_part(part: Part, seconds: float, seed: int = 1, rate_hz: int = 48_000) -> npt.NDArray[np.float32]:
    """A dry mono take of a part: (frames, 1) float32, its highest sample at 0.5."""
    notes = part.play(np.random.default_rng(seed), seconds)
    samples = render_midi(notes, part.program, rate_hz, length_s=seconds)
    mono = samples.mean(axis=1, keepdims=True)
    return np.asarray(mono * (0.5 / np.abs(mono).max()), np.float32)


def render_voice(seconds: float, seed: int = 1, rate_hz: int = 48_000) -> npt.NDArray[np.float32]:
    """A speaker who rambles with pauses: (frames, 1) float32, its highest sample at 0.5."""
    rng = np.random.default_rng(seed)
    takes: list[npt.NDArray[np.float32]] = []
    total, wanted = 0, round(seconds * rate_hz)
    while total < wanted:
        words = " ".join(rng.choice(_WORDS, rng.integers(120, 200)))
        said = speak(
            words,
            rate_hz,
            voice=str(rng.choice(["en", "en+f3", "en+m3", "en+f2"])),
            words_per_minute=int(rng.integers(110, 190)),
        )
        # A speaker moves: the level of a phrase drifts by a few dB.
        drift = np.repeat(rng.normal(0, 2.5, said.shape[0] // rate_hz + 1), rate_hz)[: said.shape[0]]
        takes += [said * np.float32(10 ** (drift[:, np.newaxis] / 20)), np.zeros((rate_hz, 1), np.float32)]
        total += said.shape[0] + rate_hz
    voice = np.concatenate(takes)[:wanted]
    return np.asarray(voice * (0.5 / np.abs(voice).max()), np.float32)


def riff(
    keys: Sequence[int], *, notes_per_s: float, hold: float, chord: Sequence[int] = (0,), loud: float = 95
) -> Callable[[np.random.Generator, float], list[Note]]:
    """A player who strays over ``keys``, with phrases, rests and accents; ``hold`` 1.0 ties the notes."""

    def play(rng: np.random.Generator, seconds: float) -> list[Note]:
        notes: list[Note] = []
        t_s, place, phrase_loud = 0.5, len(keys) // 2, loud
        while t_s < seconds - 1.0:
            if rng.random() < 0.05:
                t_s += rng.uniform(0.5, 2.0)
                phrase_loud = loud + rng.normal(0, 10)
            step_s = rng.choice([0.5, 1.0, 1.0, 2.0]) / notes_per_s
            place = int(np.clip(place + rng.integers(-2, 3), 0, len(keys) - 1))
            velocity = int(np.clip(rng.normal(phrase_loud, 8), 20, 127))
            notes += [Note(t_s, step_s * hold, keys[place] + offset, velocity) for offset in chord]
            t_s += step_s
        return notes

    return play


def drumming(rng: np.random.Generator, seconds: float) -> list[Note]:
    """A plain beat with fills: kick, snare, hat, toms, a crash now and then."""
    notes: list[Note] = []
    step_s = 60 / 104 / 4
    for step in range(int((seconds - 1.0) / step_s)):
        t_s, beat = 0.5 + step * step_s, step % 16

        def hit(key: int, loud: float, at_s: float = t_s) -> None:
            velocity = int(np.clip(rng.normal(loud, 7), 15, 127))
            notes.append(Note(at_s + abs(rng.normal(0, 0.004)), 0.1, key, velocity))

        if step % 128 >= 112:
            hit(int(rng.choice([38, 41, 43, 45, 47])), 95)
            continue
        if beat in (0, 8) or (beat % 2 == 0 and rng.random() < 0.2):
            hit(36, 100)
        if beat in (4, 12):
            hit(38, 100)
        if beat % 2 == 0:
            hit(42, 70)
        if step % 128 == 0:
            hit(49, 105)
    return notes


_E1, _E2, _C2, _G3, _C4, _C5 = 28, 40, 36, 55, 60, 72
_MINOR = (0, 3, 5, 7, 10, 12, 15, 17, 19, 22, 24)


def _scale(root: int, steps: int = 11) -> list[int]:
    return [root + step for step in _MINOR[:steps]]


PARTS: tuple[Part, ...] = (
    Part("bass", 33, riff(_scale(_E1, 8), notes_per_s=3.0, hold=0.95)),
    Part("slap bass", 36, riff(_scale(_E1, 8), notes_per_s=4.0, hold=0.6)),
    Part("acoustic bass", 32, riff(_scale(_E1, 8), notes_per_s=2.0, hold=0.95)),
    Part("steel guitar", 25, riff(_scale(_E2), notes_per_s=3.0, hold=2.0, chord=(0, 7, 12, 16))),
    Part("clean guitar", 27, riff(_scale(_E2), notes_per_s=4.0, hold=1.0)),
    Part("overdriven guitar", 29, riff(_scale(_E2), notes_per_s=3.0, hold=0.9, chord=(0, 7))),
    Part("distorted guitar", 30, riff(_scale(_E2), notes_per_s=3.0, hold=0.9, chord=(0, 7, 12))),
    Part("drums", DRUM_KIT, drumming),
    Part("piano", 0, riff(_scale(_C4 - 12), notes_per_s=3.0, hold=1.5, chord=(0, 7, 16))),
    Part("electric piano", 4, riff(_scale(_C4 - 12), notes_per_s=2.5, hold=1.5, chord=(0, 4, 10))),
    Part("drawbar organ", 16, riff(_scale(_C4 - 12), notes_per_s=1.0, hold=0.98, chord=(0, 4, 7))),
    Part("church organ", 19, riff(_scale(_C2), notes_per_s=0.5, hold=1.0, chord=(0, 12, 19, 24))),
    Part("strings", 48, riff(_scale(_G3), notes_per_s=1.0, hold=1.0, chord=(0, 7, 12))),
    Part("cello", 42, riff(_scale(_C2), notes_per_s=1.5, hold=1.0)),
    Part("trumpet", 56, riff(_scale(_C5 - 12), notes_per_s=2.0, hold=0.95)),
    Part("brass section", 61, riff(_scale(_G3), notes_per_s=2.0, hold=0.9, chord=(0, 4, 7))),
    Part("saxophone", 65, riff(_scale(_G3), notes_per_s=3.0, hold=0.95)),
    Part("flute", 73, riff(_scale(_C5), notes_per_s=2.0, hold=0.95)),
    Part("synth square", 80, riff(_scale(_C4 - 12), notes_per_s=1.5, hold=0.98)),
    Part("synth saw", 81, riff(_scale(_C4 - 12), notes_per_s=1.5, hold=0.98)),
    Part("synth bass", 38, riff(_scale(_E1, 8), notes_per_s=3.0, hold=0.9)),
    Part("synth pad", 90, riff(_scale(_C4 - 12), notes_per_s=0.4, hold=1.0, chord=(0, 7, 12))),
)
"""What a home studio records, as far as the sound font goes; :func:`render_voice` adds the voice."""

_WORDS = (
    "harbour",
    "lantern",
    "window",
    "silver",
    "morning",
    "carry",
    "never",
    "over",
    "water",
    "slowly",
    "under",
    "a",
    "the",
    "and",
    "we",
    "when",
    "rope",
    "anchor",
    "broken",
    "paper",
    "river",
    "shout",
    "again",
    "louder",
    "falling",
    "open",
    "stone",
    "winter",
    "copper",
    "ladder",
    "until",
)


def _fit(samples: npt.NDArray[np.float32], frames: int) -> npt.NDArray[np.float32]:
    if samples.shape[0] >= frames:
        return samples[:frames]
    return np.concatenate((samples, np.zeros((frames - samples.shape[0], samples.shape[1]), np.float32)))


def _midi_file(notes: Sequence[Note], program: int) -> bytes:
    """A standard MIDI file of format 0: 480 ticks a quarter note at 120 a minute, so 960 ticks a second."""
    channel = _DRUM_CHANNEL if program == DRUM_KIT else 0
    events: list[tuple[int, bytes]] = []
    for note in notes:
        begin = round(note.start_s * _TICKS_PER_S)
        end = max(begin + 1, round((note.start_s + note.length_s) * _TICKS_PER_S))
        events.append((begin, bytes((0x90 | channel, note.key, note.velocity))))
        events.append((end, bytes((0x80 | channel, note.key, 0))))
    # At one tick the releases go first, or a repeated key would be cut at once.
    events.sort(key=lambda event: (event[0], event[1][0]))
    track = b"" if program == DRUM_KIT else b"\x00" + bytes((0xC0 | channel, program))
    at = 0
    for tick, message in events:
        track += _varying(tick - at) + message
        at = tick
    # Two seconds of ring-out, then the end of the track.
    track += _varying(2 * _TICKS_PER_S) + b"\xff\x2f\x00"
    head = struct.pack(">4sIHHH", b"MThd", 6, 0, 1, 480)
    return head + struct.pack(">4sI", b"MTrk", len(track)) + track


def _varying(value: int) -> bytes:
    """A variable-length quantity: seven bits a byte, the last byte without its top bit."""
    out = bytes((value & 0x7F,))
    while value := value >> 7:
        out = bytes((value & 0x7F | 0x80,)) + out
    return out
