"""A recorded file as a take in the log: measured as ``check`` measures it, with its levels over time."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from app.check.measure import FileCheck, check_file
from app.coach.judgement import Target
from app.coach.parts import PartProfile
from app.engine.events import EventKind
from app.log.ceiling import CeilingWatch
from app.log.records import ChannelFigures, TakeEvent, TakeState, TakeUpdate, storable
from app.log.trace import TraceBuilder
from dsp.reading import Clip, ClipKind, Reading

_CLIP_KINDS = {ClipKind.FULL_SCALE: EventKind.CLIP, ClipKind.FLAT_TOP: EventKind.POSSIBLE_CLIP}


def measure_take(
    path: Path,
    profile: PartProfile,
    target: Target | None = None,
    progress: Callable[[float], None] | None = None,
    *,
    uid: str,
    ended_s: float,
) -> tuple[FileCheck, TakeUpdate]:
    """Measure a file and make a take of it, whole and closed.

    Parameters
    ----------
    path, profile, target, progress
        See :func:`app.check.measure.check_file`. What ``progress`` raises ends the measurement.
    uid
        Names the take for good: the same recording must get the same one.
    ended_s
        When the recording ended, in seconds since 1970 UTC: the time of the file's last change.

    Raises
    ------
    app.errors.SoundFileError
        When the file cannot be read as sound; the sentence names it.
    """
    target = target or Target()
    levels = _Levels(target.ceiling_dbfs)
    check = check_file(path, profile, target, progress, observe=levels)
    started_us, utc_offset_s = _moment(ended_s - check.duration_s)
    update = TakeUpdate(
        uid=uid,
        name=storable(path.stem),
        part=profile.key,
        started_us=started_us,
        utc_offset_s=utc_offset_s,
        input_spec=storable(f"file:{path}"),
        input_name=storable(path.name),
        rate_hz=check.rate_hz,
        state=TakeState.CLOSED,
        frames=round(check.duration_s * check.rate_hz),
        lost_frames=0,
        verdict=check.verdict,
        per_channel=_figures(check),
        events=levels.events(),
        trace=levels.trace.view() if levels.trace else None,
        final=True,
    )
    return check, update


def goes_on(earlier: TakeUpdate, later: TakeUpdate) -> bool:
    """Whether one take is the beginning of the other, as far as their levels tell.

    So it is when a recorder paused for longer than a watch waits, and then wrote on; not when somebody
    recorded anew into the same file.
    """
    if earlier.trace is None or later.trace is None or later.frames < earlier.frames:
        return False
    factor = max(1, round(later.trace.point_s / earlier.trace.point_s))
    # The last point may have been cut off in the middle.
    whole = (earlier.trace.peak_dbfs.shape[0] - 1) // factor
    coarse = earlier.trace.peak_dbfs[: whole * factor].reshape(whole, factor).max(axis=1)
    return whole > 0 and bool(np.array_equal(coarse, later.trace.peak_dbfs[:whole]))


class _Levels:
    """Collects what a take shows beyond a check's figures, from one reading of the chain after another."""

    def __init__(self, ceiling_dbfs: float) -> None:
        self._ceiling_dbfs = ceiling_dbfs
        self._ceiling: CeilingWatch | None = None
        self._events: list[TakeEvent] = []
        self.trace: TraceBuilder | None = None

    def __call__(self, reading: Reading) -> None:
        if self._ceiling is None or self.trace is None:
            self._ceiling = CeilingWatch(
                reading.channels, reading.rate_hz, reading.hop_frames, self._ceiling_dbfs
            )
            self.trace = TraceBuilder(reading.hop_frames / reading.rate_hz)
        for clip in reading.clips:
            self._events.append(_clip_event(clip))
            if clip.kind is ClipKind.FULL_SCALE:
                self._ceiling.note_clip(clip.channel, clip.start_frame + clip.frames)
        if reading.bad_samples:
            self._events.append(
                TakeEvent(EventKind.BAD_SAMPLES, reading.start_frame, None, reading.bad_samples)
            )
        frame = reading.start_frame
        for average, peak in zip(
            reading.average_dbfs.max(axis=1).tolist(), reading.peak_dbfs.tolist(), strict=True
        ):
            self._events += self._ceiling.add(frame, peak)
            self.trace.add(average, max(peak))
            frame += reading.hop_frames

    def events(self) -> tuple[TakeEvent, ...]:
        """Everything, in the order of its place. To be called once, at the end."""
        if self._ceiling is not None:
            self._events += self._ceiling.finish()
        return tuple(sorted(self._events, key=lambda event: event.frame))


def _clip_event(clip: Clip) -> TakeEvent:
    peak_dbfs = round(clip.peak_dbfs, 4)
    return TakeEvent(
        _CLIP_KINDS[clip.kind],
        clip.start_frame,
        clip.channel + 1,
        clip.frames,
        peak_dbfs,
        clip.kind.value,
        # A converter cuts off at full scale; only floating-point files tell how far over it went.
        over_db=peak_dbfs if peak_dbfs > 0.0 else None,
    )


def _figures(check: FileCheck) -> tuple[ChannelFigures, ...]:
    summary = check.summary
    return tuple(
        ChannelFigures(
            peak_dbfs=_known(summary.peak_dbfs[index]),
            average_max_dbfs=_known(summary.average_max_dbfs[index]),
            noise_floor_dbfs=_known(summary.noise_floor_dbfs[index]),
            clips=sum(clip.kind is ClipKind.FULL_SCALE for clip in channel.clips),
        )
        for index, channel in enumerate(check.channels)
    )


def _known(level_dbfs: float) -> float | None:
    level_dbfs = float(level_dbfs)
    return None if math.isnan(level_dbfs) else level_dbfs


def _moment(begun_s: float) -> tuple[int, int]:
    """Microseconds since 1970 UTC, and the local offset then; a time that is none becomes now."""
    try:
        begun = datetime.fromtimestamp(begun_s, UTC).astimezone()
    except (OverflowError, OSError, ValueError):
        begun = datetime.now().astimezone()
    offset = begun.utcoffset() or timedelta()
    microseconds = (begun - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    return microseconds, int(offset.total_seconds())
