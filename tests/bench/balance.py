"""The headphone balance on instruments: how far down, how well heard, and what stems save against a mix.

Run it with ``python tests/bench/balance.py [--seconds 30] [--seed 1]``; it needs fluidsynth, its sound font
and espeak-ng (see tests/bench/render.py). A band of seven is mixed and driven into a soft limiter until it is
as dense as a finished track, -9 LUFS; the same gain from moment to moment on each of them gives stems that
add up to that track. Each part is played at the level to which the coach would set it: loud playing at -18
dBFS on average, peaks no higher than -6. Parts on the band's own instruments play something else than the
band does, against the whole of it, which is the hardest case.

Columns: the loudness gap; for the mix, the decibels that the part needs, the advice, and the shares of
playing time in which it is heard before and after, on the whole and where the backing is fullest; for the
stems, the sum of the pull-downs against that of pulling all down alike, the share heard after it, and the
stem most in the way.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from render import PARTS, lacking, render_part, render_voice

from app.coach.balance import advise
from app.coach.overlay import HEARD_TIME
from app.words.balance import pitch_range
from dsp.average import SlowAverage
from dsp.decibels import amplitude_to_db, db_to_amplitude
from dsp.hops import hop_frames
from dsp.track import Track, TrackMeter

RATE_HZ = 48_000
WANTED_LUFS = -9.0
CEILING = 0.89
"""Of the limiter: -1 dBFS."""

BAND = {
    "drums": (0.0, 0.0),
    "voice": (-2.0, 0.0),
    "bass": (-1.0, 0.0),
    "distorted guitar": (-5.0, -0.7),
    "piano": (-5.0, 0.6),
    "strings": (-8.0, 0.2),
    "synth pad": (-8.0, -0.2),
}
"""Loudness of each stem against the drums, in LU, and its place from left (-1) to right (1)."""

Stereo = npt.NDArray[np.float32]


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--seconds", type=float, default=30.0)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    if lacking():
        sys.exit(2)

    mix, stems = record_band(chosen.seconds, 1000 + chosen.seed)
    track, stem_tracks = measure(mix), {name: measure(stem) for name, stem in stems.items()}
    print(
        f"backing: {track.integrated_lufs:.1f} LUFS, loudest 3 s {track.short_term_max_lufs:.1f}, "
        f"true peak {track.true_peak_dbtp:.1f} dBTP, peak to loudness {track.peak_to_loudness_db:.1f} dB\n"
    )
    stems_head = "stems alike share heard  most in the way"
    print(f"{'':18}  gap | {'mix: needs':>10} advice before after fullest | {stems_head}")
    inside = heard = cheaper = 0
    names = [*(part.name for part in PARTS), "voice"]
    for name in names:
        part = measure(at_the_coachs_level(take(name, chosen.seconds, chosen.seed)))
        whole = advise(part, [track])
        split = advise(part, list(stem_tracks.values()))
        amount = whole.files[0].pull_down_db
        total = sum(file.pull_down_db for file in split.files)
        alike = len(stems) * split.equal_pull_down_db
        worst, file = max(zip(stems, split.files, strict=True), key=lambda pair: pair[1].in_the_way)
        inside += 10 <= amount <= 24
        heard += min(whole.after.all_of_it, whole.after.fullest, split.after.all_of_it) >= HEARD_TIME
        cheaper += total < alike
        print(
            f"{name:18} {whole.gap_lu:4.1f} | {whole.values['needed_db']:10.0f} {amount:6d} "
            f"{whole.before.all_of_it:6.2f} {whole.after.all_of_it:5.2f} {whole.after.fullest:7.2f} | "
            f"{total:5d} {alike:5d} {total / alike:5.0%} {split.after.all_of_it:5.2f}  "
            f"{worst} {file.in_the_way:.0%}, {pitch_range(*file.in_the_way_hz)}"
        )
    print(
        f"\nof {len(names)}: advice within 10 to 24 dB {inside}, heard for {HEARD_TIME:.0%} after it "
        f"{heard}, less by stems than alike {cheaper}\n"
    )
    time_ten_minutes(mix, take("trumpet", chosen.seconds, chosen.seed))


def take(name: str, seconds: float, seed: int) -> Stereo:
    """A dry mono take."""
    if name == "voice":
        return render_voice(seconds, seed, RATE_HZ)
    (part,) = (part for part in PARTS if part.name == name)
    return render_part(part, seconds, seed, RATE_HZ)


def measure(samples: Stereo) -> Track:
    meter = TrackMeter(RATE_HZ, samples.shape[1])
    meter.process(samples)
    return meter.finish()


def record_band(seconds: float, seed: int) -> tuple[Stereo, dict[str, Stereo]]:
    """The finished track, and the stems that add up to it."""
    stems = {}
    for name, (level_lu, place) in BAND.items():
        mono = take(name, seconds, seed)
        panned = mono * np.sqrt(np.array([1.0 - place, 1.0 + place]) / 2.0).astype(np.float32)
        stems[name] = panned * np.float32(db_to_amplitude(level_lu - 20.0 - measure(panned).integrated_lufs))
    raw = np.sum(list(stems.values()), axis=0)
    low, high = 0.1, 30.0
    for _ in range(14):
        drive = np.sqrt(low * high)
        if measure(limited(raw, drive)).integrated_lufs < WANTED_LUFS:
            low = drive
        else:
            high = drive
    mix = limited(raw, low)
    gain = np.divide(mix, raw, out=np.full_like(raw, np.float32(low)), where=raw != 0.0)
    return mix, {name: stem * gain for name, stem in stems.items()}


def limited(samples: Stereo, drive: float) -> Stereo:
    return np.asarray(CEILING * np.tanh(drive / CEILING * samples), np.float32)


def at_the_coachs_level(mono: Stereo) -> Stereo:
    """Loud playing (the upper tenth of the slow average) at -18 dBFS, peaks at -6 dBFS or under."""
    hop = hop_frames(RATE_HZ)
    average = SlowAverage(RATE_HZ, 1, hop).process(mono[: mono.shape[0] // hop * hop])
    peak_dbfs = amplitude_to_db(float(np.abs(mono).max()))
    gain_db = min(-18.0 - float(np.percentile(average, 90)), -6.0 - peak_dbfs)
    return mono * np.float32(db_to_amplitude(gain_db))


def time_ten_minutes(mix: Stereo, part: Stereo) -> None:
    """The command on ten minutes of backing, when it is new and when it is remembered."""
    with tempfile.TemporaryDirectory() as folder:
        backing, played = Path(folder) / "backing.wav", Path(folder) / "part.wav"
        soundfile.write(played, part, RATE_HZ)
        with soundfile.SoundFile(backing, "w", RATE_HZ, 2, "PCM_24") as file:
            for _ in range(int(600 * RATE_HZ / mix.shape[0])):
                file.write(mix)
        command = [
            sys.executable,
            "-m",
            "app.cli",
            "balance",
            "--part",
            played,
            "--backing",
            backing,
            "--json",
        ]
        for when in ("new", "remembered"):
            used, begun = os.times(), time.perf_counter()
            subprocess.run(
                command, env=os.environ | {"XDG_CACHE_HOME": folder}, capture_output=True, check=False
            )
            after = os.times()
            processor_s = sum(after[2:4]) - sum(used[2:4])
            print(
                f"10 minutes, {when}: {time.perf_counter() - begun:.1f} s, {processor_s:.1f} s of processor"
            )


if __name__ == "__main__":
    main()
