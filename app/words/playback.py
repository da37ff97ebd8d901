"""Playing along, in words: outputs, what keeps them from playing, and the round trip."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.numbers import decibels


def no_output() -> str:
    """No output at all."""
    return _("The system offers no output to play through.")


def no_such_output(name: str) -> str:
    """The output that was chosen is away."""
    return _("There is no output named {name} just now. Choose another, or plug it in again.").format(
        name=name
    )


def output_refused(name: str, cause: str) -> str:
    """The driver said no."""
    return _("{name} cannot be opened to play: {cause}.").format(name=name, cause=cause)


def output_lost(name: str) -> str:
    """An output that played has gone."""
    return _("{name} has gone: the backing does not play any more.").format(name=name)


def system_output() -> str:
    """The output that the system plays through."""
    return _("The system's output")


def output_choice(name: str, host_api: str, *, is_default: bool) -> str:
    """An output in a list."""
    if is_default:
        return _("{name} ({host_api}), the system's output").format(name=name, host_api=host_api)
    return _("{name} ({host_api})").format(name=name, host_api=host_api)


def round_trip(input_ms: float | None, output_ms: float) -> str:
    """How long your own sound would take through the program, and what to do instead."""
    if input_ms is None:
        return _(
            "The driver reports {output} ms on the way out. Your own sound is not played here: it would come "
            "late. Hear yourself through the interface's direct monitoring."
        ).format(output=decibels(output_ms, 0))
    return _(
        "The driver reports a round trip of {total} ms ({input} ms in, {output} ms out). Your own sound is "
        "not played here: it would come that late. Hear yourself through the interface's direct monitoring."
    ).format(
        total=decibels(input_ms + output_ms, 0), input=decibels(input_ms, 0), output=decibels(output_ms, 0)
    )


def playback_failed() -> str:
    """Playing broke: a fault of ours."""
    return _("Playing stopped because of a fault in the program. Start it again to go on.")
