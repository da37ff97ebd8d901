"""The JSON document of ``swellmark check``. Others script against it: change it only by adding."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from app import __version__
from app.check.measure import ChannelCheck, FileCheck
from app.coach.forecast import Forecast
from app.coach.judgement import Judgement
from app.figures import level, rounded
from app.words.advice import reason_sentence
from app.words.faults import fault_sentence
from dsp.reading import Clip, Fault, Hum


def document(checks: Sequence[FileCheck], *, stopped: bool = False) -> dict[str, Any]:
    """Everything about some files; ``stopped`` adds that there are more that were not measured."""
    whole = {"swellmark": __version__, "files": [_file(check) for check in checks]}
    return whole | {"stopped": True} if stopped else whole


def _file(check: FileCheck) -> dict[str, Any]:
    summary = check.summary
    return {
        "path": str(check.path),
        "format": check.format,
        "rate_hz": check.rate_hz,
        "channels": len(check.channels),
        "duration_s": rounded(check.duration_s, 6),
        "verdict": check.verdict.value,
        "advice": _advice(check.coach.worst),
        "loudness": {
            "integrated_lufs": level(summary.integrated_lufs),
            "momentary_max_lufs": level(summary.momentary_max_lufs),
            "short_term_max_lufs": level(summary.short_term_max_lufs),
            "range_lu": level(summary.range_lu),
        },
        "per_channel": [_channel(check, index, each) for index, each in enumerate(check.channels)],
        "forecast": _forecast(check.forecast),
        "faults": [_fault(fault) for fault in summary.faults],
        "bad_samples": summary.bad_samples,
    }


def _advice(judgement: Judgement) -> dict[str, Any]:
    return {
        "gain_change_db": float(judgement.gain_change_db),
        "reason": reason_sentence(judgement.reason, judgement.values),
    }


def _channel(check: FileCheck, index: int, channel: ChannelCheck) -> dict[str, Any]:
    summary, judgement = check.summary, channel.judgement
    return {
        "verdict": judgement.verdict.value,
        "gain_change_db": float(judgement.gain_change_db),
        "peak_dbfs": level(summary.peak_dbfs[index]),
        "true_peak_dbtp": level(summary.true_peak_dbtp[index]),
        "average_max_dbfs": level(summary.average_max_dbfs[index]),
        "average_playing_dbfs": level(judgement.average_playing_dbfs),
        "rms_dbfs": level(summary.rms_dbfs[index]),
        "crest_db": level(summary.crest_db[index]),
        "noise_floor_dbfs": level(summary.noise_floor_dbfs[index]),
        "noise_floor_dba": level(summary.noise_floor_dba[index]),
        "dc_offset": rounded(summary.dc_offset[index], 6),
        "hum": _hum(summary.hum[index]),
        "clips": [_clip(clip, check.rate_hz) for clip in channel.clips],
        "inter_sample_overs": int(summary.inter_sample_overs[index]),
    }


def _hum(hum: Hum | None) -> dict[str, Any] | None:
    return None if hum is None else {"mains_hz": hum.mains_hz, "level_dbfs": level(hum.level_dbfs)}


def _clip(clip: Clip, rate_hz: int) -> dict[str, Any]:
    return {
        "start_frame": clip.start_frame,
        "start_s": rounded(clip.start_frame / rate_hz, 6),
        "frames": clip.frames,
        "kind": clip.kind.value,
        "peak_dbfs": level(clip.peak_dbfs),
        "runs": clip.runs,
    }


def _forecast(forecast: Forecast | None) -> dict[str, Any] | None:
    if forecast is None:
        return None
    return {
        "take_s": rounded(forecast.take_s, 3),
        "heard_s": rounded(forecast.heard_s, 3),
        "peak_p50_dbfs": level(forecast.peak_p50_dbfs),
        "peak_p95_dbfs": level(forecast.peak_p95_dbfs),
        "clip_probability": rounded(forecast.clip_probability, 4),
        "clip_probability_low": rounded(forecast.clip_probability_low, 4),
        "clip_probability_high": rounded(forecast.clip_probability_high, 4),
    }


def _fault(fault: Fault) -> dict[str, Any]:
    channel = None if fault.channel is None else fault.channel + 1
    return {
        "kind": fault.kind.value,
        "channel": channel,
        "text": fault_sentence(fault.kind, channel, fault.value),
    }
