"""What is said when takes are compared: by the command, and on the page in the window."""

from __future__ import annotations

from collections.abc import Mapping

from app.words._catalogue import _, ngettext


def compare_help() -> str:
    """``swellmark takes compare --help``."""
    return _(
        "Compare takes: their figures side by side, and which is technically the safest. With one number, "
        "against the take of the same part in an earlier session."
    )


def nothing_to_compare_with(number: int) -> str:
    """Say that no earlier session has a take of this part."""
    return _("No earlier session has a take of the same part as take {number}: give two numbers.").format(
        number=number
    )


def safest_sentence(ground: str, values: Mapping[str, str]) -> str:
    """Which take is technically the safest, and why.

    Parameters
    ----------
    ground
        A value of :class:`app.log.compare.Ground`.
    values
        Texts: ``number`` and ``other`` are the takes' numbers, ``figure`` and ``other_figure`` what decided.
    """
    sentence = {
        "clips": _(
            "Technically the safest is take {number}: clips {figure}, take {other} has {other_figure}."
        ),
        "missing": _(
            "Technically the safest is take {number}. Missing from it: {figure}; from take {other}: "
            "{other_figure}."
        ),
        "possible_clips": _(
            "Technically the safest is take {number}: possible overloads before the converter {figure}, "
            "take {other} has {other_figure}."
        ),
        "ceiling": _(
            "Technically the safest is take {number}: its peaks reach {figure} dBFS, those of take {other} "
            "{other_figure} dBFS."
        ),
        "window": _(
            "Technically the safest is take {number}: it sits nearest to where the part should, "
            "{figure} dB off, take {other} {other_figure} dB."
        ),
        "alike": _("Technically, these takes are alike: {takes}. Choose by ear."),
        "too_few": _("There are not two takes here that can be judged."),
    }[ground]
    return sentence.format(**values)


def still_flawed(ground: str) -> str:
    """What the safest take has against it all the same; nothing for a ground that is none."""
    return {
        "clips": _("It clipped too: none of these takes is clean."),
        "missing": _("Something is missing from it too."),
        "possible_clips": _("It may have been overloaded before the converter too."),
        "ceiling": _("Its peaks pass the ceiling too."),
    }.get(ground, "")


def only_technical() -> str:
    """What the comparison does not know."""
    return _("This says nothing about the playing.")


def left_out(number: int, key: str) -> str:
    """Why a take is not judged."""
    return {
        "runs": _("Take {number} still runs, so it is not judged."),
        "silent": _("Nothing was heard in take {number}, so it is not judged."),
        "unknown": _("The levels of take {number} are not known, so it is not judged."),
    }[key].format(number=number)


def nothing_missing() -> str:
    """A take of which everything was seen."""
    return _("nothing")


def missing(lost_s: str) -> str:
    """How much of a take is missing."""
    return _("{lost_s} s").format(lost_s=lost_s)


def end_missing() -> str:
    """A take whose end was not seen."""
    return _("its end")


def loud_average_heading() -> str:
    """The median of the slow average over loud playing."""
    return _("Loud average dBFS")


def off_window_heading() -> str:
    """How far a take sits from where its part should."""
    return _("Off the window dB")


def possible_heading() -> str:
    """Possible overloads before the converter."""
    return _("Possible overloads")


def missing_heading() -> str:
    """What was not seen of a take."""
    return _("Missing")


def figure_heading() -> str:
    """Head of the column with the names of figures."""
    return _("Figure")


def levels_name(number: int, clips: int) -> str:
    """What a picture of levels shows, for who cannot see it."""
    return ngettext(
        "Levels of take {number} over time, with {clips} clip marked",
        "Levels of take {number} over time, with {clips} clips marked",
        clips,
    ).format(number=number, clips=clips)
