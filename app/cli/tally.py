"""Adds hops up to one line of figures every tenth of a second of sound."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from app.engine.snapshot import HopReport
from app.figures import level, rounded
from dsp.reading import ClipKind
from dsp.types import Floats

LINE_S = 0.1


class Tally:
    """Turns reports into lines by the contract of ``watch --json``.

    A line covers a tenth of a second of sound, however many hops a report brings.
    """

    def __init__(self) -> None:
        self._line_end_s = LINE_S
        self._peaks: Floats | None = None
        self._clips: list[int] = []

    def lines(self, report: HopReport) -> Iterator[dict[str, Any]]:
        """Yield the lines that this report completes."""
        reading = report.reading
        if self._peaks is None:
            self._peaks = np.full(reading.channels, -np.inf)
            self._clips = [0] * reading.channels
        for clip in reading.clips:
            if clip.kind is ClipKind.FULL_SCALE:
                self._clips[clip.channel] += 1
        hop_s = reading.hop_frames / reading.rate_hz
        start_s = reading.start_frame / reading.rate_hz
        for hop in range(reading.hops):
            np.maximum(self._peaks, reading.peak_dbfs[hop], out=self._peaks)
            t_s = start_s + (hop + 1) * hop_s
            if t_s >= self._line_end_s - hop_s / 2:
                yield self._line(report, hop, t_s)
                self._peaks[:] = -np.inf
                self._line_end_s = (
                    (t_s // LINE_S + 1) * LINE_S
                    if t_s > self._line_end_s + LINE_S
                    else (self._line_end_s + LINE_S)
                )

    def _line(self, report: HopReport, hop: int, t_s: float) -> dict[str, Any]:
        reading, worst = report.reading, report.coach.worst
        assert self._peaks is not None  # noqa: S101 - lines() has set it
        return {
            "t_s": rounded(t_s, 3),
            "verdict": worst.verdict.value,
            "gain_change_db": float(worst.gain_change_db),
            "lost_frames": report.lost_frames,
            "per_channel": [
                {
                    "average_dbfs": level(reading.average_dbfs[hop, channel]),
                    "peak_dbfs": level(self._peaks[channel]),
                    "peak_hold_dbfs": level(reading.peak_hold_dbfs[channel]),
                    "headroom_db": level(-reading.peak_hold_dbfs[channel]),
                    "noise_floor_dbfs": level(reading.noise_floor_dbfs[channel]),
                    "clips": self._clips[channel],
                }
                for channel in range(reading.channels)
            ],
            "loudness": {
                "momentary_lufs": level(reading.momentary_lufs[hop]),
                "short_term_lufs": level(reading.short_term_lufs[hop]),
            },
        }
