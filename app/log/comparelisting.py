"""A comparison as short texts, for the terminal and the window alike."""

from __future__ import annotations

from app.log.compare import Comparison, Ground, Standing
from app.words import advice
from app.words import compare as words
from app.words import log as log_words
from app.words.numbers import UNKNOWN, clock, decibels


def sentences(comparison: Comparison) -> list[str]:
    """Which take is technically the safest and why, what is left against it, and what was not judged."""
    lines = [words.safest_sentence(comparison.ground, _values(comparison))]
    if comparison.safest is not None:
        lines += filter(None, [words.still_flawed(flaw) for flaw in flaws(comparison.safest)[:1]])
    if comparison.ground is not Ground.TOO_FEW:
        lines.append(words.only_technical())
    lines += [
        words.left_out(each.number, each.left_out)
        for each in comparison.standings
        if each.left_out is not None
    ]
    return lines


def flaws(each: Standing) -> list[Ground]:
    """What a take has against it, the worst first."""
    return [
        ground
        for ground, holds in (
            (Ground.CLIPS, each.clips > 0),
            (Ground.MISSING, each.lost_s > 0.0 or not each.whole),
            (Ground.POSSIBLE_CLIPS, each.possible_clips > 0),
            (Ground.CEILING, bool(each.over_db)),
        )
        if holds
    ]


def figure_rows(comparison: Comparison) -> list[tuple[str, list[str]]]:
    """The figures side by side: the name of each, and its text for every take."""
    each_of = comparison.standings
    return [
        (log_words.verdict_heading(), [_verdict(each) for each in each_of]),
        (log_words.length_heading(), [clock(each.take.row.duration_s) for each in each_of]),
        (log_words.clips_heading(), [str(each.clips) for each in each_of]),
        (words.possible_heading(), [str(each.possible_clips) for each in each_of]),
        (words.missing_heading(), [_missing(each) for each in each_of]),
        (log_words.peak_heading(), [decibels(each.peak_dbfs) for each in each_of]),
        (words.loud_average_heading(), [decibels(each.loud_average_dbfs) for each in each_of]),
        (words.off_window_heading(), [decibels(each.off_window_db) for each in each_of]),
        (log_words.floor_heading(), [decibels(each.noise_floor_dbfs) for each in each_of]),
    ]


def _verdict(each: Standing) -> str:
    verdict = each.take.row.verdict
    return UNKNOWN if verdict is None else advice.verdict_name(verdict)


def _missing(each: Standing) -> str:
    if each.lost_s > 0.0:
        return words.missing(decibels(each.lost_s, 3))
    return words.nothing_missing() if each.whole else words.end_missing()


def _figure(each: Standing, ground: Ground) -> str:
    return {
        Ground.CLIPS: str(each.clips),
        Ground.MISSING: _missing(each),
        Ground.POSSIBLE_CLIPS: str(each.possible_clips),
        Ground.CEILING: decibels(each.peak_dbfs),
        Ground.WINDOW: decibels(each.off_window_db),
    }.get(ground, "")


def _values(comparison: Comparison) -> dict[str, str]:
    """The texts of the sentence: the take that it is about, and the one that it is told from."""
    about, other = comparison.safest, comparison.next_best
    if about is None or other is None:
        return {"takes": ", ".join(str(each.number) for each in comparison.alike)}
    return {
        "number": str(about.number),
        "other": str(other.number),
        "figure": _figure(about, comparison.ground),
        "other_figure": _figure(other, comparison.ground),
    }
