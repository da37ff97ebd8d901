"""``swellmark check``: measure recorded files."""

from __future__ import annotations

import sys
from pathlib import Path

import click
from rich import box
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from app.check.document import document
from app.check.folder import expand
from app.check.measure import FileCheck, check_file
from app.cli.main import ACT, DONE, WRONG
from app.cli.options import json_option, part_option, print_json, the_part
from app.coach.parts import PartProfile
from app.errors import SoundFileError
from app.words import advice
from app.words import cli as words
from app.words.faults import fault_sentence
from app.words.numbers import clock, decibels, signed_decibels

_MOST_CLIPS_LISTED = 20


@click.command(help=words.check_help())
@click.argument("paths", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@part_option
@click.option(
    "--take-seconds", type=click.FloatRange(1.0, 86_400.0), default=240.0, help=words.take_seconds_help()
)
@json_option
def check(paths: tuple[Path, ...], part: str, take_seconds: float, as_json: bool) -> None:
    """Measure every file; those that cannot be read are named on stderr, and the others still measured."""
    del take_seconds  # the forecast is not measured yet
    profile = the_part(part)
    files = expand(paths)
    checks, unreadable = _measure_all(files, profile)
    if as_json:
        print_json(document(checks))
    else:
        console = Console(highlight=False)
        for each in checks:
            _print(console, each)
    if unreadable:
        sys.exit(WRONG)
    sys.exit(ACT if any(each.needs_action for each in checks) else DONE)


def _measure_all(files: list[Path], profile: PartProfile) -> tuple[list[FileCheck], int]:
    checks: list[FileCheck] = []
    unreadable = 0
    progress = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )
    with progress:
        task = progress.add_task(words.checking(), total=len(files))
        for done, path in enumerate(files):
            try:
                checks.append(
                    check_file(
                        path,
                        profile,
                        progress=lambda share, done=done: progress.update(task, completed=done + share),  # type: ignore[misc]
                    )
                )
            except SoundFileError as error:
                unreadable += 1
                progress.console.print(
                    f"swellmark: {error.sentence}", markup=False, highlight=False, soft_wrap=True
                )
            progress.update(task, completed=done + 1)
    return checks, unreadable


def _print(console: Console, check: FileCheck) -> None:
    summary, worst = check.summary, check.coach.worst
    about = (check.path.name, clock(check.duration_s), check.format, f"{check.rate_hz / 1000:g} kHz")
    console.print("  ".join(about), markup=False, style="bold", soft_wrap=True)
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
    console.print(table)
    for sentence in (
        advice.advice_sentence(worst.reason, worst.gain_change_db, worst.values) + ".",
        advice.reason_sentence(worst.reason, worst.values),
    ):
        console.print(sentence, markup=False)
    console.print(
        words.loudness_line(decibels(summary.integrated_lufs), decibels(summary.range_lu)), markup=False
    )
    for fault in summary.faults:
        number = None if fault.channel is None else fault.channel + 1
        console.print(fault_sentence(fault.kind, number, fault.value), markup=False)
    _print_clips(console, check)
    console.print()


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
            ),
            markup=False,
        )
    if len(clips) > _MOST_CLIPS_LISTED:
        console.print(words.more_clips(len(clips) - _MOST_CLIPS_LISTED), markup=False)
