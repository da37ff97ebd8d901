"""Runs trials through the chain.

Each trial has a chain of its own, so trials may run side by side: numpy lets go of the interpreter during the
arithmetic. Results come in the order of the trials, each as soon as it and those before it are done.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import cache
from multiprocessing import get_context

import numpy as np

from app.conform.case import Measured, Result, Trial
from app.conform.catalogue import trials
from dsp.chain import Chain
from dsp.reading import Clip, Reading

_WORKERS = min(4, os.cpu_count() or 1)
"""More would wait for each other: part of each stage holds the interpreter."""

ChainMaker = Callable[[int, int], Chain]
"""Makes a chain for a rate and a number of channels."""


def run(given: Iterable[Trial], make_chain: ChainMaker = Chain, workers: int = _WORKERS) -> Iterator[Result]:
    """Yield a result for every case of every trial."""
    with ThreadPoolExecutor(workers, "conform") as pool:
        pending = [pool.submit(_run_trial, trial, make_chain) for trial in given]
        try:
            for done in pending:
                yield from done.result()
        finally:
            # Whoever stops listening early, or meets an error, need not wait for the rest.
            pool.shutdown(cancel_futures=True)


def run_catalogue(workers: int = _WORKERS) -> Iterator[Result]:
    """Yield a result for every case of the catalogue, measured by processes of their own.

    Half of what a trial costs holds the interpreter, so threads would share one core. Each process finds its
    trial by number, because signals cannot be sent to another process.
    """
    everything = _catalogue()
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        try:
            for trial, values in zip(everything, pool.map(_values, range(len(everything))), strict=True):
                yield from (case.judge_value(value) for case, value in zip(trial.cases, values, strict=True))
        finally:
            pool.shutdown(cancel_futures=True)


@cache
def _catalogue() -> tuple[Trial, ...]:
    return tuple(trials())


def _values(number: int) -> list[float]:
    trial = _catalogue()[number]
    measured = measure(trial, Chain(trial.rate_hz, trial.channels))
    return [case.measure(measured) for case in trial.cases]


def _run_trial(trial: Trial, make_chain: ChainMaker) -> Sequence[Result]:
    measured = measure(trial, make_chain(trial.rate_hz, trial.channels))
    return [case.judge(measured) for case in trial.cases]


def measure(trial: Trial, chain: Chain) -> Measured:
    """Feed a trial's signal to a chain and collect what it reports."""
    readings = [reading for block in trial.signal() if (reading := chain.process(block)) is not None]
    readings.append(chain.finish())
    return Measured(
        rate_hz=trial.rate_hz,
        hop_frames=chain.hop_frames,
        average_dbfs=np.concatenate([reading.average_dbfs for reading in readings]),
        momentary_lufs=np.concatenate([reading.momentary_lufs for reading in readings]),
        short_term_lufs=np.concatenate([reading.short_term_lufs for reading in readings]),
        clips=_clips(readings),
        summary=chain.summary(),
    )


def _clips(readings: Sequence[Reading]) -> tuple[Clip, ...]:
    return tuple(clip for reading in readings for clip in reading.clips)
