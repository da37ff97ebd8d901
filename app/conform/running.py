"""Runs trials through the chain.

Each trial has a chain of its own, so trials may run side by side: numpy lets go of the interpreter during the
arithmetic. Results come in the order of the trials, each as soon as it and those before it are done.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from app.conform.case import Measured, Result, Trial
from dsp.chain import Chain
from dsp.reading import Clip, Reading

_WORKERS = min(4, os.cpu_count() or 1)
"""More would wait for each other: part of each stage holds the interpreter."""

ChainMaker = Callable[[int, int], Chain]
"""Makes a chain for a rate and a number of channels."""


def run(trials: Iterable[Trial], make_chain: ChainMaker = Chain, workers: int = _WORKERS) -> Iterator[Result]:
    """Yield a result for every case of every trial."""
    with ThreadPoolExecutor(workers, "conform") as pool:
        pending = [pool.submit(_run_trial, trial, make_chain) for trial in trials]
        try:
            for done in pending:
                yield from done.result()
        finally:
            # Whoever stops listening early, or meets an error, need not wait for the rest.
            pool.shutdown(cancel_futures=True)


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
