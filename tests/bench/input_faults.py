"""Which faults are claimed in ordinary takes, and how often an automatic gain is noticed.

    python tests/bench/input_faults.py [--minutes 3] [--part NAME]

Every part of ``render.PARTS``, in stereo, dry and with the synthesiser's room, each side over noise of its
own at −70 dBFS: nothing should be claimed, but for an offset that the plain mean of ten seconds shows as well
(the saw of the usual sound font has one: marked "true"). Then the dry take, in mono over pink noise at
−66 dBFS, through an automatic gain that turns down within 50 ms and up at 4, 10 and 30 dB a second, by up to
30 dB: the climb that was noticed. A part that never rests can show nothing. Exit status 1 when an ordinary
take is accused.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np
import numpy.typing as npt
from render import PARTS, Part, lacking, render_midi
from scipy.signal import lfilter

from dsp.faults import DC_OFFSET, FaultFinder
from dsp.hops import hop_frames
from dsp.reading import Fault, FaultKind

RATE_HZ = 48_000
HOP = hop_frames(RATE_HZ)
RELEASES_DB_S = (4.0, 10.0, 30.0)

_Sound = npt.NDArray[np.float32]


def stereo_take(part: Part, seconds: float, *, room: bool) -> _Sound:
    notes = part.play(np.random.default_rng(7), seconds)
    x = render_midi(notes, part.program, RATE_HZ, room=room, length_s=seconds)
    return np.asarray(x * (0.5 / np.abs(x).max()), np.float32)


def pink(frames: int, dbfs: float) -> npt.NDArray[np.float64]:
    """Pink noise of an RMS, by the usual three-pole approximation from 10 Hz up."""
    white = np.random.default_rng(3).normal(0, 1, frames)
    shaped = lfilter(
        [0.049922035, -0.095993537, 0.050612699, -0.004408786],
        [1, -2.494956002, 2.017265875, -0.522189400],
        white,
    )
    return np.asarray(shaped * (10 ** (dbfs / 20) / shaped.std()), np.float64)


def automatic_gain(x: npt.NDArray[np.float64], release_db_s: float) -> npt.NDArray[np.float64]:
    """Bring the RMS of 10 ms to −20 dBFS: down within 50 ms, up at a steady rate, by no more than 30 dB."""
    x = x[: x.size // HOP * HOP]
    levels_db = 10 * np.log10((x.reshape(-1, HOP) ** 2).mean(axis=1) + 1e-12)
    gain_db, gains_db = 0.0, np.zeros(levels_db.size)
    for index, level_db in enumerate(levels_db.tolist()):
        wanted = min(-20.0 - level_db, 30.0)
        if wanted < gain_db:
            gain_db += (wanted - gain_db) * (1 - np.exp(-0.010 / 0.050))
        else:
            gain_db = min(wanted, gain_db + release_db_s * 0.010)
        gains_db[index] = gain_db
    curve = np.interp(np.arange(x.size), np.arange(gains_db.size) * HOP + HOP / 2, gains_db)
    return np.asarray(x * 10 ** (curve / 20), np.float64)


def has_offset(x: npt.NDArray[np.floating]) -> bool:
    """Whether the plain mean of any ten seconds says that there is an offset."""
    ten_s = 10 * RATE_HZ
    means = [x[at : at + ten_s].mean(axis=0) for at in range(0, max(1, x.shape[0] - ten_s), ten_s)]
    return bool(np.abs(means).max() >= DC_OFFSET)


def watch(x: npt.NDArray[np.floating]) -> tuple[set[FaultKind], tuple[Fault, ...]]:
    """Everything that was claimed on the way, second by second, and at the end."""
    finder = FaultFinder(RATE_HZ, x.shape[1], HOP)
    whole = np.ascontiguousarray(x[: x.shape[0] // HOP * HOP], np.float32)
    seen: set[FaultKind] = set()
    for start in range(0, whole.shape[0], RATE_HZ):
        finder.process(whole[start : start + RATE_HZ])
        seen |= {fault.kind for fault in finder.faults}
    return seen, finder.final()


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--minutes", type=float, default=3.0)
    parser.add_argument("--part", action="append", help="only this part (may be repeated)")
    options = parser.parse_args()
    if lacking():
        return 2
    print(f"{'part':18s}  {'dry':>16s}  {'room':>16s}  climb noticed at 4, 10, 30 dB/s")
    accused, spent_s, heard_s = False, 0.0, 0.0
    for part in PARTS:
        if options.part and part.name not in options.part:
            continue
        cells: list[str] = []
        for room in (False, True):
            x = stereo_take(part, 60 * options.minutes, room=room)
            noisy = x + np.random.default_rng(1).normal(0, 10 ** (-70 / 20), x.shape)
            begun = time.process_time()
            seen, final = watch(noisy)
            spent_s += time.process_time() - begun
            heard_s += x.shape[0] / RATE_HZ
            seen |= {fault.kind for fault in final}
            true = {FaultKind.DC_OFFSET} if has_offset(x) else set()
            accused |= bool(seen - true)
            said = [kind.value + " (true)" * (kind in true) for kind in sorted(seen)]
            cells.append(f"{', '.join(said) or '-':>16s}")
        mono = stereo_take(part, 60 * options.minutes, room=False).mean(axis=1, dtype=np.float64)
        mono += pink(mono.size, -66)
        for release_db_s in RELEASES_DB_S:
            _, final = watch(automatic_gain(mono, release_db_s)[:, np.newaxis])
            climbs = [fault.value for fault in final if fault.kind is FaultKind.PUMPING and fault.value]
            cells.append(f"{climbs[0]:5.1f}" if climbs else "    -")
        print(f"{part.name:18s}  " + "  ".join(cells), flush=True)
    if heard_s:
        print(f"{spent_s / heard_s * 60:.3f} s of processor a minute of stereo")
    return int(accused)


if __name__ == "__main__":
    sys.exit(main())
