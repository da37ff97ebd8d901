"""What the chain reads on sampled instruments and a spoken voice whose truth is known.

    python tests/bench/instruments.py [--seconds 40] [--part NAME]

Each part of ``render.PARTS`` and the voice of espeak-ng, over white noise at -70 dBFS, in four twins:

* clean: the noise floor read against the noise that was put in;
* clipped: 6 dB over full scale and cut: runs of three frames and more, found against counted in the samples;
* noisy: the noise 20 dB louder, floor read against it;
* humming: 50 Hz with five harmonics at -60 dBFS: which mains, and its level against what was put in.

A dash is "not known" or "none found": the right answer where a part never rests. Exit status 1 when a floor
is off by more than 1 dB, hum by more or to the wrong mains, clips differ, or a clean take is accused
of hum.
"""

from __future__ import annotations

import argparse
import math
import sys

import numpy as np
import numpy.typing as npt
from render import PARTS, lacking, render_part, render_voice

from dsp.chain import Chain
from dsp.reading import ClipKind, Summary

RATE_HZ = 48_000
NOISE_DBFS, NOISIER_DBFS, HUM_DBFS = -70.0, -50.0, -60.0
_HUM_TOTAL_DBFS = HUM_DBFS + 10.0 * math.log10(sum(1.0 / k**2 for k in range(1, 7)))

_Sound = npt.NDArray[np.float32]


def main() -> int:
    """Print the table; judge."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--seconds", type=float, default=40.0)
    arguments.add_argument("--part")
    chosen = arguments.parse_args()
    if lacking():
        return 2
    names = [part.name for part in PARTS if chosen.part in (None, part.name)]
    names += ["voice"] if chosen.part in (None, "voice") else []
    print(f"{'part':18} {'floor':>7} {'noisy':>7} {'hum off':>8} {'mains':>5} {'clips':>6} {'counted':>7}")
    bad = sum(_row(name, chosen.seconds) for name in names)
    print(f"{len(names)} parts, {bad} with something wrong")
    return int(bad > 0)


def _row(name: str, seconds: float) -> bool:
    dry = _dry(name, seconds)
    noise, hum = _noise(dry.shape[0]), _hum(dry.shape[0])
    clean, _ = _measure(dry + noise)
    noisy, _ = _measure(dry + noise * 10 ** ((NOISIER_DBFS - NOISE_DBFS) / 20))
    humming, _ = _measure(dry + noise + hum)
    cut = np.clip(dry * 4.0 + noise, -1.0, 1.0)  # the highest sample was 0.5: now 6 dB over
    _, runs = _measure(cut)
    found = humming.hum[0]
    floor_off = float(clean.noise_floor_dbfs[0]) - NOISE_DBFS
    noisy_off = float(noisy.noise_floor_dbfs[0]) - NOISIER_DBFS
    hum_off = math.nan if found is None else found.level_dbfs - _HUM_TOTAL_DBFS
    counted = _runs(cut[:, 0])
    wrong = (
        any(abs(off) > 1.0 for off in (floor_off, noisy_off, hum_off) if not math.isnan(off))
        or (found is not None and found.mains_hz != 50)
        or clean.hum[0] is not None
        or runs != counted
    )
    mains = "–" if found is None else str(found.mains_hz)
    figures = f"{_text(floor_off)} {_text(noisy_off)} {_text(hum_off):>8} {mains:>5} {runs:6d} {counted:7d}"
    print(f"{name:18} {figures}{'  <' if wrong else ''}", flush=True)
    return wrong


def _dry(name: str, seconds: float) -> _Sound:
    if name == "voice":
        return render_voice(seconds)
    return render_part(next(part for part in PARTS if part.name == name), seconds)


def _measure(samples: _Sound) -> tuple[Summary, int]:
    """Figures of a whole take, and how many runs at full scale were found."""
    chain = Chain(RATE_HZ, 1, noise_memory_s=None)
    readings = [chain.process(samples[at : at + RATE_HZ]) for at in range(0, samples.shape[0], RATE_HZ)]
    readings.append(chain.finish())
    clips = [clip for reading in readings if reading is not None for clip in reading.clips]
    return chain.summary(), sum(clip.runs for clip in clips if clip.kind is ClipKind.FULL_SCALE)


def _runs(samples: npt.NDArray[np.float32]) -> int:
    """Runs of at least three frames at one rail, counted plainly."""
    count = 0
    for at_rail in (samples >= 0.9999, samples <= -0.9999):
        edges = np.flatnonzero(np.diff(np.concatenate(([False], at_rail, [False])).astype(np.int8)))
        count += int(np.count_nonzero(edges[1::2] - edges[::2] >= 3))
    return count


def _noise(frames: int) -> _Sound:
    wave = np.random.default_rng(11).standard_normal((frames, 1)) * 10 ** (NOISE_DBFS / 20) / math.sqrt(2)
    return wave.astype(np.float32)


def _hum(frames: int) -> _Sound:
    t_s = np.arange(frames) / RATE_HZ
    tones = sum(np.sin(2 * np.pi * 50 * k * t_s + k) / k for k in range(1, 7))
    return (10 ** (HUM_DBFS / 20) * tones)[:, np.newaxis].astype(np.float32)


def _text(off_db: float) -> str:
    return "      –" if math.isnan(off_db) else f"{off_db:+7.2f}"


if __name__ == "__main__":
    sys.exit(main())
