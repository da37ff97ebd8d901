"""What measuring costs: files against other programs, live sound by channels and rate, memory by length.

    python tests/bench/speed.py [--minutes 10 60] [--runs 5] [--long] [--folder DIR] [--pyloudnorm PYTHON]

Files: the same stereo music, 24 bit at 48 kHz, is measured by ``swellmark check --json`` (everything), by
ffmpeg's ``ebur128=peak=true`` and libebur128 (loudness, range, true peak) and by pyloudnorm (integrated
loudness). Each is a whole process from start to end; they take turns, so that other load meets all alike, and
ratios are of neighbours in time. libebur128 and pyloudnorm are driven from Python, whose start is in their
figures.

Live: the chain, and the chain with the coach behind it as in the window, are fed hop by hop, as fast as they
go, and the processor time of the thread is set against the time of the sound.

The memory told is that of a program's largest process; ``check`` has a second one of some 50 MB for files of
more than five minutes.

What is not installed is left out, and the table says so. ``--long`` adds four hours of RF64 (5.5 GB on disk)
and their memory; ``--folder`` keeps the music for the next time. Debian: ``apt install ffmpeg libebur128-1
fluidsynth fluid-soundfont-gm espeak-ng``; pyloudnorm may live in an environment of its own, whose Python
``--pyloudnorm`` names.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program itself does; before numpy is loaded

import argparse
import ctypes
import ctypes.util
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

RATE_HZ = 48_000
LIVE_RATES_HZ = (48_000, 96_000, 192_000)
LIVE_CHANNELS = (1, 2, 8, 32)
LIVE_S = 6.0
RENDERED_S = 600.0
LONG_MINUTES = 240
MOST_PYLOUDNORM_MINUTES = 15
"""It holds the whole file several times over."""


@dataclass(frozen=True)
class Cost:
    wall_s: float
    cpu_s: float
    memory_mb: float


def band(seconds: float, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """A band from the sampled sound font; where that is missing, plucked tones over noise: (frames, 2)."""
    from render import PARTS, available, render_midi

    frames = round(seconds * RATE_HZ)
    mix = rng.normal(0.0, 1e-4, (frames, 2)).astype(np.float32)
    if available():
        by_name = {part.name: part for part in PARTS}
        for name, right in (
            ("drums", 0.5),
            ("bass", 0.5),
            ("steel guitar", 0.25),
            ("overdriven guitar", 0.7),
        ):
            part = by_name[name]
            played = render_midi(
                part.play(rng, seconds), part.program, RATE_HZ, room=True, gain=0.4, length_s=seconds
            )
            angle = right * np.pi / 2
            mix += played * np.float32([np.cos(angle), np.sin(angle)]) / np.abs(played).max()
    else:
        t_s = np.arange(frames) / RATE_HZ
        for pitch_hz, every_s in ((55.0, 1.1), (220.5, 0.4), (441.7, 0.7), (3021.0, 0.25)):
            note = np.exp(-4.0 * (t_s % every_s) / every_s) * np.sin(2 * np.pi * pitch_hz * t_s)
            mix += (note[:, np.newaxis] * rng.uniform(0.2, 0.8, 2)).astype(np.float32)
    return np.asarray(mix / np.abs(mix).max(), np.float32)


def write_music(folder: Path, minutes: Sequence[int], *, long: bool) -> dict[int, Path]:
    """Files of so many minutes.

    The band plays again and again, a little louder each time, so that no maximum is found early.
    """
    paths = {length: folder / f"band-{length}-minutes.wav" for length in minutes}
    if long:
        paths[LONG_MINUTES] = folder / f"band-{LONG_MINUTES}-minutes.rf64"
    missing = {length: path for length, path in paths.items() if not path.exists()}
    if missing:
        print("rendering the music …", file=sys.stderr)
        # In a process of its own: what a child is started from counts as its peak memory too.
        renderer = get_context("spawn").Process(target=_render, args=(missing,))
        renderer.start()
        renderer.join()
    return paths


def _render(missing: dict[int, Path]) -> None:
    played = band(min(RENDERED_S, 60.0 * max(missing)), np.random.default_rng(1))
    for length, path in missing.items():
        kind, coding = ("RF64", "FLOAT") if path.suffix == ".rf64" else ("WAV", "PCM_24")
        draft = path.with_suffix(".draft")
        with soundfile.SoundFile(draft, "w", RATE_HZ, 2, coding, format=kind) as file:
            left = length * 60 * RATE_HZ
            gains = iter(np.linspace(0.4, 0.7, -(-left // played.shape[0])))
            while left:
                file.write(played[:left] * np.float32(next(gains)))
                left -= min(left, played.shape[0])
        draft.rename(path)


def run(command: Sequence[str], statuses: tuple[int, ...] = (0,)) -> Cost:
    """Run a process to its end."""
    began_s = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    wall_s = time.perf_counter() - began_s
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in statuses:
        raise RuntimeError(f"{' '.join(command)} ended with {process.returncode}")
    per_mb = 1024.0 if sys.platform == "linux" else 1024.0**2
    return Cost(wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / per_mb)


def contestants(pyloudnorm: str) -> tuple[dict[str, Callable[[Path], list[str]]], list[str]]:
    """Commands by name, ours first, and what is missing."""
    found: dict[str, Callable[[Path], list[str]]] = {
        "swellmark check, everything": lambda path: [
            *(sys.executable, "-m", "app.cli", "check", "--json", str(path))
        ]
    }
    missing = []
    if shutil.which("ffmpeg"):
        found["ffmpeg ebur128=peak=true"] = lambda path: [
            *("ffmpeg", "-nostdin", "-nostats", "-i", str(path)),
            *("-filter_complex", "ebur128=peak=true", "-f", "null", "-"),
        ]
    else:
        missing.append("ffmpeg")
    if ctypes.util.find_library("ebur128"):
        found["libebur128, true peak too"] = lambda path: [
            *(sys.executable, __file__, "--measure-by", "libebur128", str(path))
        ]
    else:
        missing.append("libebur128")
    probe = [pyloudnorm, "-c", "import pyloudnorm, soundfile"]
    if subprocess.run(probe, capture_output=True, check=False).returncode == 0:
        found["pyloudnorm, integrated only"] = lambda path: [
            *(pyloudnorm, __file__, "--measure-by", "pyloudnorm", str(path))
        ]
    else:
        missing.append("pyloudnorm")
    return found, missing


def measure_by_libebur128(path: Path) -> str:
    """The file's loudness, range and true peak by the reference library."""
    library = ctypes.CDLL(ctypes.util.find_library("ebur128"))
    library.ebur128_init.restype = ctypes.c_void_p
    library.ebur128_init.argtypes = (ctypes.c_uint, ctypes.c_ulong, ctypes.c_int)
    library.ebur128_add_frames_float.argtypes = (ctypes.c_void_p, ctypes.c_void_p, ctypes.c_size_t)
    integrated, loudness_range, true_peak = 0b101, 0b1011, 0b110001  # its EBUR128_MODE_I, _LRA, _TRUE_PEAK
    with soundfile.SoundFile(path) as file:
        state = library.ebur128_init(file.channels, file.samplerate, integrated | loudness_range | true_peak)
        for block in file.blocks(2 * file.samplerate, dtype="float32", always_2d=True):
            samples = np.ascontiguousarray(block)
            if library.ebur128_add_frames_float(state, samples.ctypes.data, samples.shape[0]):
                raise RuntimeError("libebur128 refused the samples")
        channels = file.channels
    value = ctypes.c_double()
    figures = []
    for name in ("loudness_global", "loudness_range"):
        getattr(library, f"ebur128_{name}")(ctypes.c_void_p(state), ctypes.byref(value))
        figures.append(f"{name} {value.value:.3f}")
    for channel in range(channels):
        library.ebur128_true_peak(ctypes.c_void_p(state), channel, ctypes.byref(value))
        figures.append(f"true_peak {20 * np.log10(value.value):.3f}")
    return ", ".join(figures)


def measure_by_pyloudnorm(path: Path) -> str:
    import pyloudnorm

    samples, rate_hz = soundfile.read(path)
    return f"loudness_global {pyloudnorm.Meter(rate_hz).integrated_loudness(samples):.3f}"


def compare(paths: dict[int, Path], runs: int, pyloudnorm: str) -> Iterator[str]:
    """Lines of the table of files."""
    found, missing = contestants(pyloudnorm)
    yield f"{'whole process':<30}{'minutes':>8}{'wall s':>9}{'CPU s':>9}{'wall':>8}{'CPU':>7}{'MB':>7}"
    for length, path in paths.items():
        costs: dict[str, list[Cost]] = {name: [] for name in found}
        for _ in range(1 if length >= LONG_MINUTES else runs):
            for name, command in found.items():
                if "pyloudnorm" in name and length > MOST_PYLOUDNORM_MINUTES:
                    continue
                # 1 is ours for "done, and something to act on".
                costs[name].append(run(command(path), (0, 1) if "swellmark" in name else (0,)))
        ours = next(iter(costs.values()))
        for name, each in costs.items():
            if not each:
                continue
            wall_s, cpu_s, memory_mb = (
                statistics.median(getattr(cost, figure) for cost in each)
                for figure in ("wall_s", "cpu_s", "memory_mb")
            )
            wall = statistics.median(own.wall_s / other.wall_s for own, other in zip(ours, each, strict=True))
            cpu = statistics.median(own.cpu_s / other.cpu_s for own, other in zip(ours, each, strict=True))
            ratios = f"{wall:>8.2f}{cpu:>7.2f}" if each is not ours else f"{'':>15}"
            yield f"{name:<30}{length:>8}{wall_s:>9.2f}{cpu_s:>9.2f}{ratios}{memory_mb:>7.0f}"
    yield "wall and CPU without a unit: swellmark's share of the other's, medians of neighbouring runs"
    for name in missing:
        yield f"{name} is not installed and was left out"


def live(rate_hz: int, channels: int, *, coached: bool) -> float:
    """Share of a core that live sound takes."""
    from app.coach.verdict import Coach
    from dsp.chain import Chain

    rng = np.random.default_rng(2)
    seconds = LIVE_S if channels <= 8 else LIVE_S / 3
    t_s = np.arange(round(seconds * rate_hz)) / rate_hz
    swell = (0.05 + 0.4 * np.exp(-3.0 * (t_s % 0.5)))[:, np.newaxis]
    pitches_hz = rng.uniform(80.0, 1500.0, channels)
    samples = (swell * np.sin(2 * np.pi * t_s[:, np.newaxis] * pitches_hz)).astype(np.float32)
    samples += rng.normal(0.0, 1e-3, samples.shape).astype(np.float32)
    best = np.inf
    for _ in range(3):
        chain = Chain(rate_hz, channels)
        coach = Coach(channels, rate_hz, chain.hop_frames)
        hop, spent_s, hops = chain.hop_frames, 0.0, 0
        for first in range(0, samples.shape[0] - hop + 1, hop):
            block = samples[first : first + hop]
            began_s = time.thread_time()
            reading = chain.process(block)
            if coached and reading is not None:
                coach.process(reading)
            spent_s += time.thread_time() - began_s
            hops += 1
        best = min(best, spent_s / (hops * hop / rate_hz))
    return float(best)


def live_table() -> Iterator[str]:
    """Lines of the table of live costs."""
    yield f"{'live, % of a core':<30}" + "".join(f"{count:>4} ch {'each':>6}" for count in LIVE_CHANNELS)
    for coached in (False, True):
        for rate_hz in LIVE_RATES_HZ:
            shares = [100.0 * live(rate_hz, count, coached=coached) for count in LIVE_CHANNELS]
            cells = "".join(
                f"{share:>7.2f} {share / count:>6.2f}"
                for share, count in zip(shares, LIVE_CHANNELS, strict=True)
            )
            yield f"{'chain and coach' if coached else 'chain'} at {rate_hz / 1000:g} kHz".ljust(30) + cells


def machine() -> str:
    """The machine and what runs on it."""
    name = platform.processor() or platform.machine()
    cpu_info = Path("/proc/cpuinfo")
    if cpu_info.exists():
        models = [
            line.partition(":")[2].strip()
            for line in cpu_info.read_text().splitlines()
            if "model name" in line
        ]
        name = models[0] if models else name
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return (
        f"{name}, {os.cpu_count()} cores{load}; {platform.system()} {platform.release()}, "
        f"Python {platform.python_version()}, numpy {np.__version__}, {soundfile.__libsndfile_version__}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--minutes", type=int, nargs="*", default=[10, 60], help="lengths of the files")
    parser.add_argument("--runs", type=int, default=5, help="turns for each file")
    parser.add_argument("--long", action="store_true", help="four hours of RF64 too, once")
    parser.add_argument("--no-live", action="store_true", help="files only")
    parser.add_argument("--folder", type=Path, help="where to keep the music")
    parser.add_argument("--pyloudnorm", default=sys.executable, metavar="PYTHON", help="a Python that has it")
    parser.add_argument("--measure-by", choices=("libebur128", "pyloudnorm"), help=argparse.SUPPRESS)
    parser.add_argument("file", type=Path, nargs="?", help=argparse.SUPPRESS)
    wanted = parser.parse_args()
    if wanted.measure_by:
        by = {"libebur128": measure_by_libebur128, "pyloudnorm": measure_by_pyloudnorm}
        print(by[wanted.measure_by](wanted.file))
        return
    print(machine())
    with tempfile.TemporaryDirectory() as scratch:
        folder = wanted.folder or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        paths = write_music(folder, wanted.minutes, long=wanted.long)
        for line in compare(paths, wanted.runs, wanted.pyloudnorm):
            print(line, flush=True)
    if not wanted.no_live:
        for line in live_table():
            print(line, flush=True)


if __name__ == "__main__":
    main()
