"""``swellmark check``: measure recorded files."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path

import click
from rich import box
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from app.check.document import document
from app.check.folder import sound_files
from app.check.measure import FileCheck, check_file
from app.cli import terminal
from app.cli.main import ACT, DONE, WRONG
from app.cli.options import Seconds, explain_option, json_option, part_option, the_part
from app.coach.verdict import TAKE_S
from app.errors import SoundFileError
from app.words import advice
from app.words import cli as words
from app.words.faults import fault_sentence
from app.words.numbers import clock, decibels, signed_decibels
from app.words.session import forecast_sentence

_MOST_CLIPS_LISTED = 20


@click.command(help=words.check_help())
@click.argument("paths", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@part_option
@click.option(
    "--take-seconds",
    type=Seconds(1.0, 86_400.0),
    default=TAKE_S,
    show_default=True,
    help=words.take_seconds_help(),
)
@explain_option
@json_option
def check(paths: tuple[Path, ...], part: str, take_seconds: float, explain: bool, as_json: bool) -> None:
    """Measure every file; those that cannot be read are named on stderr, and the others still measured."""
    measure = partial(check_file, profile=the_part(part), take_s=take_seconds)
    console = terminal.console()
    progress = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
        redirect_stdout=False,  # or results would go to stderr, where the bar is
        redirect_stderr=False,
    )
    checks: list[FileCheck] = []
    unreadable = 0
    for outcome in _measure_all(paths, measure, progress):
        if isinstance(outcome, SoundFileError):
            unreadable += 1
            terminal.complain(outcome.sentence)
            continue
        checks.append(outcome)
        if not as_json:
            _print(console, outcome, explain=explain)
    to_act_on = sum(each.needs_action for each in checks)
    if as_json:
        terminal.print_json(document(checks))
    elif len(checks) + unreadable > 1:
        console.print(words.measured(len(checks), to_act_on, unreadable))
    if unreadable:
        sys.exit(WRONG)
    sys.exit(ACT if to_act_on else DONE)


def _measure_all(
    paths: Iterable[Path], measure: Callable[..., FileCheck], progress: Progress
) -> Iterator[FileCheck | SoundFileError]:
    """Measure one after the other, with a bar that makes way for each result."""
    files: list[Path] = []
    for path in paths:
        try:
            files += sound_files(path)
        except SoundFileError as error:
            yield error
    task = progress.add_task(words.checking(), total=len(files))
    for done, file in enumerate(files):

        def advance(share: float, done: int = done) -> None:
            progress.update(task, completed=done + share)

        outcome: FileCheck | SoundFileError
        with progress:
            try:
                outcome = measure(file, progress=advance)
            except SoundFileError as error:
                outcome = error
        yield outcome


def _print(console: Console, check: FileCheck, *, explain: bool) -> None:
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
