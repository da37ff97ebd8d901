"""What one measured file looks like on a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich import box
from rich.console import Console
from rich.table import Table

from app.check.measure import FileCheck
from app.cli import terminal
from app.words import advice
from app.words import cli as words
from app.words.faults import fault_sentence
from app.words.numbers import clock, decibels, signed_decibels
from app.words.session import forecast_sentence

_MOST_CLIPS_LISTED = 20


def print_check(console: Console, check: FileCheck, *, explain: bool) -> None:
    """Print everything that a person wants to know of a file."""
    worst = check.coach.worst
    about = (
        terminal.printable(check.path.name),
        clock(check.duration_s),
        check.format,
        f"{check.rate_hz / 1000:g} kHz",
    )
    console.print("  ".join(about), style="bold", soft_wrap=True)
    console.print(_table(check))
    what_to_do = advice.advice_sentence(worst.reason, worst.gain_change_db, worst.values) + "."
    if len({(each.judgement.verdict, each.judgement.gain_change_db) for each in check.channels}) > 1:
        what_to_do = words.of_channel(check.coach.worst_channel + 1, what_to_do)
    sentences = [
        what_to_do,
        advice.reason_sentence(worst.reason, worst.values),
    ]
    if explain:
        sentences.append(advice.explanation(worst.verdict))
    sentences += _about_the_file(check)
    for sentence in sentences:
        console.print(sentence)
    _print_clips(console, check)
    console.print()


def _table(check: FileCheck) -> Table:
    summary = check.summary
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column(words.channel_heading(), justify="right")
    table.add_column(words.verdict_heading(), no_wrap=True)
    for heading in (
        words.gain_heading(),
        words.average_heading(),
        words.peak_heading(),
        words.true_peak_heading(),
        words.floor_heading(),
        words.clips_heading(),
    ):
        table.add_column(heading, justify="right")
    for index, channel in enumerate(check.channels):
        judgement = channel.judgement
        table.add_row(
            str(index + 1),
            advice.verdict_name(judgement.verdict),
            signed_decibels(judgement.gain_change_db),
            decibels(judgement.average_playing_dbfs),
            decibels(float(summary.peak_dbfs[index])),
            decibels(float(summary.true_peak_dbtp[index])),
            decibels(float(summary.noise_floor_dbfs[index])),
            str(len(channel.clips)),
        )
    return table


def _about_the_file(check: FileCheck) -> Iterator[str]:
    summary, forecast = check.summary, check.forecast
    if forecast is not None:
        yield words.forecast_line(
            forecast_sentence(forecast.clip_probability, forecast.clip_probability_high, forecast.take_s),
            decibels(forecast.peak_p50_dbfs),
            decibels(forecast.peak_p95_dbfs),
        )
    yield words.loudness_line(decibels(summary.integrated_lufs), decibels(summary.range_lu))
    for fault in summary.faults:
        number = None if fault.channel is None else fault.channel + 1
        yield fault_sentence(fault.kind, number, fault.value)


def _print_clips(console: Console, check: FileCheck) -> None:
    clips = sorted(
        (clip for channel in check.channels for clip in channel.clips), key=lambda clip: clip.start_frame
    )
    for clip in clips[:_MOST_CLIPS_LISTED]:
        console.print(
            words.clip_line(
                clip.kind,
                clock(clip.start_frame / check.rate_hz, 3),
                clip.channel + 1,
                clip.frames,
                decibels(clip.peak_dbfs),
            )
        )
    if len(clips) > _MOST_CLIPS_LISTED:
        console.print(words.more_clips(len(clips) - _MOST_CLIPS_LISTED))
