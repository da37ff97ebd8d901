"""The headphone balance in words: how far to pull the backing down, why, and how to do it with care."""

from __future__ import annotations

from collections.abc import Mapping

from app.words._catalogue import _
from app.words.numbers import decibels


def command_help() -> str:
    """``swellmark balance --help``."""
    return _(
        "How far to pull a backing track, or each of its stems, down in the headphones, so that a part is "
        "heard without more gain. The files of the backing begin together."
    )


def part_help() -> str:
    """``--part``."""
    return _("A recording of the part alone, at the level at which it is heard.")


def backing_help() -> str:
    """``--backing``."""
    return _("A backing track; several, one after another, are stems that sound together.")


def write_help() -> str:
    """``--write``."""
    return _("Save a turned-down copy of each backing file in this folder.")


def more_me_help() -> str:
    """``--more-me``."""
    return _("Pull the backing down by so many decibels more than needed.")


def start_help() -> str:
    """``--start``."""
    return _("Where in the backing the part begins, in seconds.")


def measuring() -> str:
    """Label of the progress bar while files are measured."""
    return _("Measuring")


def writing() -> str:
    """Label of the progress bar while copies are written."""
    return _("Writing")


def file_heading() -> str:
    """Head of the column with file names."""
    return _("Backing")


def pull_down_heading() -> str:
    """Head of the column with what to do."""
    return _("Pull down dB")


def loudness_heading() -> str:
    """Head of the column with integrated loudness."""
    return _("Loudness LUFS")


def loudest_heading() -> str:
    """Head of the column with the highest short-term loudness."""
    return _("Loudest 3 s LUFS")


def in_the_way_heading() -> str:
    """Head of the column with what each file hides."""
    return _("In the way")


def in_the_way(share: float, low_hz: int, high_hz: int) -> str:
    """How much of what the part loses is lost to a file, and in which range of pitch most."""
    return _("{share} %, most at {range}").format(
        share=round(100 * share), range=pitch_range(low_hz, high_hz)
    )


def pitch_range(low_hz: int, high_hz: int) -> str:
    """``120 to 400 Hz``."""
    if high_hz < 1000:
        return _("{low} to {high} Hz").format(low=low_hz, high=high_hz)
    if low_hz < 1000:
        return _("{low} Hz to {high} kHz").format(low=low_hz, high=f"{high_hz / 1000:g}")
    return _("{low} to {high} kHz").format(low=f"{low_hz / 1000:g}", high=f"{high_hz / 1000:g}")


def advice_sentence(amounts_db: tuple[int, ...]) -> str:
    """What to do with the faders of the backing.

    Parameters
    ----------
    amounts_db
        One whole number for each file of the backing.
    """
    if not any(amounts_db):
        return _("Leave the backing where it is.")
    if len(set(amounts_db)) == 1:
        return _("Pull the backing down {amount} dB.").format(amount=amounts_db[0])
    return _("Pull the stems down by the amounts shown, {total} dB in all.").format(total=sum(amounts_db))


def reason_sentence(reason: str, values: Mapping[str, float]) -> str:
    """Why, with the figures."""
    figures = {name: decibels(abs(value), 1 if name.endswith("_lu") else 0) for name, value in values.items()}
    above = values.get("gap_lu", 0.0) >= 0.0
    return {
        "heard": _("The part is heard in {heard_before_pct} % of its playing time as it is."),
        "hidden": _(
            "The loudest of the backing stands {gap_lu} LU above the part, which is heard in "
            "{heard_before_pct} % of its playing time now and in {heard_after_pct} % then."
        )
        if above
        else _(
            "The loudest of the backing stays {gap_lu} LU below the part, and yet covers its pitches: it is "
            "heard in {heard_before_pct} % of its playing time now and in {heard_after_pct} % then."
        ),
        "finished": _(
            "This is a finished track, far denser than a raw part: it should go down at least {least_db} dB. "
            "The part is then heard in {heard_after_pct} % of its playing time."
        ),
        "nothing_played": _(
            "This is a finished track, far denser than a raw part: start {least_db} dB down, then play."
        ),
        "waiting": _("Play the part, and it will be compared with the backing."),
        "backing_silent": _("The backing is silent: there is nothing to pull down."),
        "out_of_reach": _(
            "Even {most_db} dB less backing does not bring the part out. "
            "The part is very quiet: look to its level first."
        ),
    }[reason].format(**figures)


def more_me_sentence(more_me_db: int) -> str:
    """What the player wanted on top."""
    return _("That includes the {amount} dB more of yourself that you asked for.").format(amount=more_me_db)


def deep_note(low_hz: int, high_hz: int) -> str:
    """One file has to go down by far more than usual."""
    return _(
        "So much is rare: the backing lies on your pitches, most at {range}. With its stems, less in all "
        "would do."
    ).format(range=pitch_range(low_hz, high_hz))


def equal_sentence(equal_db: int, files: int) -> str:
    """What pulling the whole mix down would take."""
    return _("Pulling all {files} stems down alike would take {equal} dB each, {total} dB in all.").format(
        files=files, equal=equal_db, total=equal_db * files
    )


def heard_note() -> str:
    """What counts as heard."""
    return _(
        "Heard means: at least a third of the part's own loudness is left, on the whole and at the fullest."
    )


def care_sentences(needs_action: bool) -> tuple[str, ...]:
    """How to go about it without hurting anybody, in the order of doing it."""
    do = (
        _("Turn the headphones down before anything else is changed."),
        _("Pull the backing down; leave the gain where it is, it is not for the headphones."),
        _("Then raise the headphone amplifier in small steps, no further than you need to hear yourself."),
    )
    always = (
        _(
            "Rest your ears now and then. What is loud enough to harm depends on your headphones, which "
            "nobody has measured here: local rules and a hearing professional decide."
        ),
    )
    return (*do, *always) if needs_action else always


def range_line(low_hz: int, high_hz: int, before: float, after: float) -> str:
    """Audibility in one range of pitch."""
    return _("{range}: heard in {before} % of the time now, {after} % then").format(
        range=pitch_range(low_hz, high_hz), before=round(100 * before), after=round(100 * after)
    )


def written_line(path: str) -> str:
    """A copy was saved."""
    return _("Saved {path}").format(path=path)


def too_short(path: str, duration_s: float, shortest_s: float) -> str:
    """A file too short for a short-term loudness."""
    return _("{path}: it lasts {duration} s; at least {shortest} s are needed to compare loudness.").format(
        path=path, duration=decibels(duration_s, 1), shortest=f"{shortest_s:g}"
    )


def part_silent(path: str) -> str:
    """A part without playing."""
    return _("{path}: it is silent, so there is no part to be heard. Record some playing first.").format(
        path=path
    )


def cannot_write(path: str, cause: str) -> str:
    """A copy could not be saved."""
    return _("{path}: no turned-down copy could be saved: {cause}. Nothing was left behind.").format(
        path=path, cause=cause
    )


def format_cannot_be_written(path: str, file_format: str) -> str:
    """Some formats can be read and not written."""
    return _(
        "{path}: files of its kind ({format}) can be read but not written; save it as WAV first."
    ).format(path=path, format=file_format)


def length_differs() -> str:
    """What was read back is not what was written."""
    return _("the copy does not have the length of the original")


def measuring_failed(path: str, cause: str) -> str:
    """A fault of ours while measuring."""
    return _("{path}: measuring stopped because of a fault in the program ({cause}).").format(
        path=path, cause=cause
    )
