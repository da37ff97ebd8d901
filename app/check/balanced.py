"""A part in a file against a backing in files: what ``swellmark balance`` measures, advises and prints."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app import __version__
from app.check.shelf import Shelf
from app.check.tracks import TrackFile, measure_track
from app.coach.balance import Balance, FileBalance, RangeBalance, advise
from app.errors import SoundFileError
from app.figures import level, rounded
from app.words import balance as words


@dataclass(frozen=True, slots=True)
class FilesBalance:
    """The advice, and the files that it is about."""

    part: TrackFile
    backing: Sequence[TrackFile]
    more_me_db: int
    balance: Balance


def balance_files(
    part: Path,
    backing: Sequence[Path],
    more_me_db: int = 0,
    part_starts_s: float = 0.0,
    *,
    progress: Callable[[float], None] | None = None,
    shelf: Shelf | None = None,
) -> FilesBalance:
    """Measure all files and say how far to pull the backing down.

    Raises
    ------
    app.errors.SoundFileError
        When a file cannot be read or is too short, or the part is silent; the sentence names it.
    """
    measured: list[TrackFile] = []
    for number, path in enumerate((part, *backing)):

        def tell(share: float, done: int = number) -> None:
            if progress:
                progress((done + share) / (1 + len(backing)))

        measured.append(measure_track(path, tell, shelf))
        if number == 0 and measured[0].track.silent:
            raise SoundFileError(words.part_silent(str(part)))
    balance = advise(measured[0].track, [each.track for each in measured[1:]], more_me_db, part_starts_s)
    return FilesBalance(measured[0], tuple(measured[1:]), more_me_db, balance)


def document(found: FilesBalance, written: Sequence[Path] = ()) -> dict[str, Any]:
    """The JSON document. Others script against it: change it only by adding."""
    balance = found.balance
    saved: tuple[Path | None, ...] = tuple(written) or (None,) * len(found.backing)
    return {
        "swellmark": __version__,
        "part": {
            "path": str(found.part.path),
            "short_term_p50_lufs": level(found.part.track.short_term_p50_lufs),
            "integrated_lufs": level(found.part.track.integrated_lufs),
        },
        "backing": [
            _file(measured, advice, copy)
            for measured, advice, copy in zip(found.backing, balance.files, saved, strict=True)
        ],
        "audibility_before": None if balance.before is None else rounded(balance.before.all_of_it, 4),
        "audibility_after": None if balance.after is None else rounded(balance.after.all_of_it, 4),
        "audibility_fullest_before": None if balance.before is None else rounded(balance.before.fullest, 4),
        "audibility_fullest_after": None if balance.after is None else rounded(balance.after.fullest, 4),
        "audibility_by_range": [_range(each) for each in balance.ranges],
        "gap_lu": level(balance.gap_lu),
        "equal_pull_down_db": float(balance.equal_pull_down_db),
        "more_me_db": float(found.more_me_db),
        "reason_key": balance.reason.value,
        "reason": words.reason_sentence(balance.reason, balance.values),
    }


def _file(measured: TrackFile, advice: FileBalance, copy: Path | None) -> dict[str, Any]:
    track, worst = measured.track, advice.in_the_way_hz
    return {
        "path": str(measured.path),
        "integrated_lufs": level(track.integrated_lufs),
        "short_term_max_lufs": level(track.short_term_max_lufs),
        "pull_down_db": float(advice.pull_down_db),
        "audibility_before": rounded(advice.alone_before, 4),
        "audibility_after": rounded(advice.alone_after, 4),
        "true_peak_dbtp": level(track.true_peak_dbtp),
        "peak_to_loudness_db": level(track.peak_to_loudness_db),
        "in_the_way": {
            "share": rounded(advice.in_the_way, 4),
            "low_hz": None if worst is None else worst[0],
            "high_hz": None if worst is None else worst[1],
        },
        "written": None if copy is None else str(copy),
    }


def _range(each: RangeBalance) -> dict[str, Any]:
    return {
        "low_hz": each.low_hz,
        "high_hz": each.high_hz,
        "before": rounded(each.before, 4),
        "after": rounded(each.after, 4),
    }
