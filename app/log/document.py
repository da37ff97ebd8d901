"""A take as the JSON contract has it: plain values, null where a level is silence or unknown."""

from __future__ import annotations

from typing import Any

from app.figures import level
from app.log.bars import bar_and_beat
from app.log.records import ChannelFigures, TakeDetail, TakeEvent, TakeRow


def row_document(row: TakeRow) -> dict[str, Any]:
    """One entry of ``takes list --json``."""
    return {
        "take": row.number,
        "name": row.name,
        "part": row.part,
        "started": row.started,
        "duration_s": round(row.duration_s, 3),
        "state": row.state.value,
        "verdict": row.verdict and row.verdict.value,
        "input": row.input_name,
        "rate_hz": row.rate_hz,
        "lost_frames": row.lost_frames,
        "clips": row.clips,
        "peak_dbfs": level(row.peak_dbfs),
        "session": row.session,
        "kept": row.kept,
        "notes": row.notes,
    }


def take_document(take: TakeDetail) -> dict[str, Any]:
    """``takes show N --json``, and one entry of a JSON export."""
    row = row_document(take.row)
    del row["clips"], row["peak_dbfs"]
    return {
        **row,
        "per_channel": [_channel(channel) for channel in take.per_channel],
        "events": [_event(event, take.row) for event in take.events],
    }


def _channel(channel: ChannelFigures) -> dict[str, Any]:
    return {
        "peak_dbfs": level(channel.peak_dbfs),
        "average_max_dbfs": level(channel.average_max_dbfs),
        "headroom_db": level(channel.headroom_db),
        "noise_floor_dbfs": level(channel.noise_floor_dbfs),
        "clips": channel.clips,
    }


def _event(event: TakeEvent, row: TakeRow) -> dict[str, Any]:
    t_s = event.frame / row.rate_hz
    bar, beat = bar_and_beat(t_s, row.metre) if row.metre else (None, None)
    return {
        "kind": event.kind,
        "t_s": round(t_s, 6),
        "channel": event.channel,
        "frames": event.frames,
        "peak_dbfs": level(event.peak_dbfs),
        "count": event.count,
        "over_db": level(event.over_db),
        "change_db": level(event.change_db),
        "detail": event.detail,
        "bar": bar,
        "beat": None if beat is None else round(beat, 3),
    }
