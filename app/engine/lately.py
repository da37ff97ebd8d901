"""The reports of the last seconds, so that a take can begin before anybody knew that it would.

On the analysis thread alone.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from app.engine.snapshot import HopReport


class Lately:
    """Keeps what was reported lately, as far back as nothing is missing.

    Parameters
    ----------
    span_s
        How far back.
    """

    def __init__(self, span_s: float) -> None:
        self._span_s = span_s
        self._reports: deque[HopReport] = deque()

    def __call__(self, report: HopReport) -> None:
        """Take in the newest hops."""
        if self._reports and not _follows(report, self._reports[-1]):
            self._reports.clear()
        self._reports.append(report)
        oldest = report.reading.start_frame - self._span_s * report.info.rate_hz
        while self._reports[0].reading.start_frame < oldest:
            self._reports.popleft()

    def since(self, frame: int) -> HopReport | None:
        """Everything from ``frame`` on, or from as far back as it reaches, as one report; None of none."""
        reports = [report for report in self._reports if report.reading.start_frame >= frame]
        return joined(reports or list(self._reports)[-1:])

    def clear(self) -> None:
        """Forget everything."""
        self._reports.clear()


def joined(reports: Sequence[HopReport]) -> HopReport | None:
    """One report of several that follow one another without a gap, in order; None of none.

    Figures that stand for the end of the block are those of the last.
    """
    if len(reports) <= 1:
        return reports[0] if reports else None
    readings = [report.reading for report in reports]
    last = reports[-1]
    reading = replace(
        last.reading,
        start_frame=readings[0].start_frame,
        frames=sum(reading.frames for reading in readings),
        average_dbfs=np.concatenate([reading.average_dbfs for reading in readings]),
        peak_dbfs=np.concatenate([reading.peak_dbfs for reading in readings]),
        momentary_lufs=np.concatenate([reading.momentary_lufs for reading in readings]),
        short_term_lufs=np.concatenate([reading.short_term_lufs for reading in readings]),
        clips=tuple(clip for reading in readings for clip in reading.clips),
        bad_samples=sum(reading.bad_samples for reading in readings),
    )
    return replace(
        last, reading=reading, events=tuple(event for report in reports for event in report.events)
    )


def _follows(report: HopReport, before: HopReport) -> bool:
    end_frame = before.reading.start_frame + before.reading.frames
    return (
        report.reading.start_frame == end_frame
        and report.lost_frames == before.lost_frames
        and report.info.rate_hz == before.info.rate_hz
        and report.reading.channels == before.reading.channels
    )
