"""Adds hops up to one line of figures every tenth of a second of sound."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from app.engine.snapshot import HopReport
from app.figures import level, rounded
from dsp.reading import Clip, ClipKind, Reading
from dsp.types import Floats

LINES_PER_S = 10


class Tally:
    """Turns reports into lines by the contract of ``watch --json``.

    A line covers a tenth of a second of sound, however many hops a report brings. Peaks, averages and clips
    are those up to the end of the line; verdict and noise floor are those at the end of the report.
    """

    def __init__(self) -> None:
        self._report: HopReport | None = None
        self._heard: Reading | None = None
        """The newest reading that holds any hop."""
        self._t_s = 0.0
        self._lines = 0
        self._gathered = False
        self._peaks: Floats = np.empty(0)
        self._averages: Floats = np.empty(0)
        self._hold: Floats = np.empty(0)
        self._clips: list[int] = []
        self._coming_clips: list[Clip] = []

    def lines(self, report: HopReport) -> Iterator[dict[str, Any]]:
        """Yield the lines that this report completes."""
        reading = report.reading
        if self._report is None:
            self._clear(reading.channels)
            self._hold = np.full(reading.channels, -np.inf)
            self._clips = [0] * reading.channels
        self._report = report
        self._coming_clips += [clip for clip in reading.clips if clip.kind is ClipKind.FULL_SCALE]
        if not reading.hops:
            return
        self._heard = reading
        ends = reading.start_frame + reading.hop_frames * np.arange(1, reading.hops + 1)
        # A hop belongs to the line whose end is nearest to its own: hops are not always whole milliseconds.
        numbers = (ends + reading.hop_frames / 2) * LINES_PER_S // reading.rate_hz
        first = 0
        for last in np.flatnonzero(np.diff(numbers, prepend=self._lines)).tolist():
            self._gather(reading, slice(first, last + 1), int(ends[last]))
            self._lines = int(numbers[last])
            yield self._line(report, reading, last)
            first = last + 1
        if first < reading.hops:
            self._gather(reading, slice(first, None), int(ends[-1]))

    def last_line(self) -> Iterator[dict[str, Any]]:
        """Yield what is left when nothing more will come."""
        if self._report is None or self._heard is None:
            return
        if self._gathered or self._coming_clips:
            self._count_clips(self._coming_clips)
            yield self._line(self._report, self._heard, -1)

    def _clear(self, channels: int) -> None:
        self._peaks = np.full(channels, -np.inf)
        self._averages = np.full(channels, -np.inf)
        self._gathered = False

    def _gather(self, reading: Reading, hops: slice, end_frame: int) -> None:
        peaks = reading.peak_dbfs[hops].max(axis=0)
        np.maximum(self._peaks, peaks, out=self._peaks)
        np.maximum(self._hold, peaks, out=self._hold)
        np.maximum(self._averages, reading.average_dbfs[hops].max(axis=0), out=self._averages)
        # The last hop of a file may be longer than what is left of it.
        self._t_s = min(end_frame, reading.start_frame + reading.frames) / reading.rate_hz
        self._count_clips([clip for clip in self._coming_clips if clip.start_frame < end_frame])
        self._coming_clips = [clip for clip in self._coming_clips if clip.start_frame >= end_frame]
        self._gathered = True

    def _count_clips(self, clips: list[Clip]) -> None:
        for clip in clips:
            self._clips[clip.channel] += 1

    def _line(self, report: HopReport, reading: Reading, hop: int) -> dict[str, Any]:
        worst = report.coach.worst
        line = {
            "t_s": rounded(self._t_s, 3),
            "verdict": worst.verdict.value,
            "gain_change_db": float(worst.gain_change_db),
            "lost_frames": report.lost_frames,
            "per_channel": [
                {
                    "verdict": report.coach.channels[channel].verdict.value,
                    "gain_change_db": float(report.coach.channels[channel].gain_change_db),
                    "average_dbfs": level(reading.average_dbfs[hop, channel]),
                    "average_max_dbfs": level(self._averages[channel]),
                    "peak_dbfs": level(self._peaks[channel]),
                    "peak_hold_dbfs": level(self._hold[channel]),
                    "headroom_db": level(-self._hold[channel]),
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
        self._clear(reading.channels)
        return line
