"""Loudness against libebur128, an independent implementation of the same standards (Debian: libebur128-1)."""

from __future__ import annotations

import ctypes
import ctypes.util
import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest

from dsp.hops import hop_frames
from dsp.loudness import Loudness

MODE = 0b1111  # momentary, short-term, integrated, range


@pytest.fixture(scope="module")
def reference():
    name = ctypes.util.find_library("ebur128")
    if name is None:
        pytest.skip("libebur128 is not installed (Debian: apt install libebur128-1)")
    library = ctypes.CDLL(name)
    library.ebur128_init.restype = ctypes.c_void_p
    library.ebur128_init.argtypes = [ctypes.c_uint, ctypes.c_ulong, ctypes.c_int]
    library.ebur128_add_frames_float.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_size_t]
    for figure in ("loudness_global", "loudness_range", "loudness_momentary", "loudness_shortterm"):
        function = getattr(library, f"ebur128_{figure}")
        function.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_double)]
    library.ebur128_destroy.argtypes = [ctypes.POINTER(ctypes.c_void_p)]
    return library


def reference_figures(library, x, rate_hz):
    """Momentary and short-term loudness every 100 ms, then integrated loudness and range."""
    step = 10 * hop_frames(rate_hz)
    state = ctypes.c_void_p(library.ebur128_init(x.shape[1], rate_hz, MODE))

    def figure(name):
        value = ctypes.c_double()
        assert getattr(library, f"ebur128_{name}")(state, ctypes.byref(value)) == 0
        return value.value

    series = []
    for first in range(0, len(x) // step * step, step):
        block = np.ascontiguousarray(x[first : first + step])
        assert library.ebur128_add_frames_float(state, block.ctypes.data, step) == 0
        series.append((figure("loudness_momentary"), figure("loudness_shortterm")))
    programme = figure("loudness_global"), figure("loudness_range")
    library.ebur128_destroy(ctypes.byref(state))
    return *np.array(series).T, *programme


def range_of(short_term_lufs):
    """Tech 3342, step by step."""
    kept = short_term_lufs[short_term_lufs > -70.0]
    kept = np.sort(kept[kept > 10 * np.log10(np.mean(10 ** (kept / 10))) - 20.0])
    low, high = (kept[math.floor((kept.size - 1) * p + 0.5)] for p in (0.10, 0.95))
    return high - low


def played(seconds, rate_hz, seed):
    """Decaying notes with harmonics, loud and quiet passages, pauses and a bed of noise, in two channels."""
    rng = np.random.default_rng(seed)
    x = 1e-3 * rng.standard_normal((round(seconds * rate_hz), 2))
    at_s = 0.0
    while at_s < seconds - 2.0:
        n = np.arange(round(rng.uniform(0.3, 2.0) * rate_hz))
        t = n / rate_hz
        f_hz = 55.0 * 2 ** (rng.integers(0, 48) / 12)
        harmonics = np.arange(1, max(2, int(min(12, rate_hz / 2.2 / f_hz))))
        tone = np.sin(2 * np.pi * f_hz * np.outer(t, harmonics)) @ (1.0 / harmonics)
        loud = 10 ** (rng.uniform(-34, -6) / 20) if int(at_s) % 10 < 8 else 0.0
        pan = rng.uniform(0.2, 1.0, 2)
        first = round(at_s * rate_hz)
        x[first : first + n.size] += loud * pan * (tone * np.exp(-4 * t))[:, None]
        at_s += rng.choice([0.15, 0.3, 0.6])
    return x.astype(np.float32)


def check(reference, x, rate_hz):
    x = x[: len(x) // (rate_hz // 10) * (rate_hz // 10)]
    momentary, short_term, integrated, span = reference_figures(reference, x, rate_hz)
    meter = Loudness(rate_hz, x.shape[1], hop_frames(rate_hz))
    ours_momentary, ours_short_term = meter.process(x)
    assert math.isfinite(integrated)
    assert meter.integrated_lufs == pytest.approx(integrated, abs=0.02)
    np.testing.assert_allclose(ours_momentary[39::10], momentary[3:], atol=0.02)
    np.testing.assert_allclose(ours_short_term[299::10], short_term[29:], atol=0.02)
    # It gathers one short-term value a second; since 2016 the standard has asked for ten.
    assert range_of(short_term[29::10]) == pytest.approx(span, abs=0.01)
    assert meter.range_lu == pytest.approx(range_of(short_term[29:]), abs=0.02)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_music_reads_as_libebur128_reads_it(reference, rate_hz):
    check(reference, played(25, rate_hz, seed=rate_hz), rate_hz)


def test_surround_reads_as_libebur128_reads_it(reference):
    # Its default order of five channels is L R C Ls Rs.
    x = np.hstack([played(20, 48000, seed)[:, :n] for seed, n in ((1, 2), (2, 1), (3, 2))])
    check(reference, x, 48000)


def test_sampled_instruments_read_as_libebur128_reads_them(reference):
    path = Path(__file__).parents[1] / "bench" / "render.py"
    spec = importlib.util.spec_from_file_location("render_for_loudness", path)
    render = sys.modules[spec.name] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(render)
    if not render.available():
        pytest.skip("fluidsynth, its sound font or espeak-ng is not installed")
    drums, bass = (
        next(part for part in render.PARTS if part.name == name) for name in ("drums", "acoustic bass")
    )
    x = np.hstack([render.render_part(drums, 30.0), render.render_part(bass, 30.0)])
    check(reference, x, 48000)
