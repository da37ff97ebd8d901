"""A take as the JSON contract has it: plain values, null where a level is silence or unknown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import app
from app.figures import level
from app.log.bars import bar_and_beat
from app.log.compare import Comparison, Standing
from app.log.records import ChannelFigures, LevelTrace, TakeDetail, TakeEvent, TakeRow


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


def levels_document(trace: LevelTrace) -> dict[str, Any]:
    """A take's levels over time, a pair for each stretch of ``point_s`` seconds."""
    return {
        "point_s": round(trace.point_s, 6),
        "average_dbfs": [level(value) for value in trace.average_dbfs.tolist()],
        "peak_dbfs": [level(value) for value in trace.peak_dbfs.tolist()],
    }


def comparison_document(comparison: Comparison, sentences: Sequence[str]) -> dict[str, Any]:
    """``takes compare --json``."""
    safest, other = comparison.safest, comparison.next_best
    return {
        "swellmark": app.__version__,
        "safest": safest and safest.number,
        "ground": comparison.ground.value,
        "next_best": other and other.number,
        "alike": [each.number for each in comparison.alike],
        "sentences": list(sentences),
        "target": {
            "window_low_dbfs": level(comparison.target.window_low_dbfs),
            "window_high_dbfs": level(comparison.target.window_high_dbfs),
            "ceiling_dbfs": level(comparison.target.ceiling_dbfs),
        },
        "takes": [_standing(each) for each in comparison.standings],
    }


def _standing(each: Standing) -> dict[str, Any]:
    return {
        **row_document(each.take.row),
        "left_out": each.left_out and each.left_out.value,
        "clips_s": [round(t_s, 6) for t_s in each.clips_s],
        "possible_clips": each.possible_clips,
        "lost_s": round(each.lost_s, 6),
        "loud_average_dbfs": level(each.loud_average_dbfs),
        "over_ceiling_db": level(each.over_db),
        "off_window_db": level(each.off_window_db),
        "noise_floor_dbfs": level(each.noise_floor_dbfs),
        "levels": levels_document(each.take.trace),
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
