"""What is said about takes that begin and end by themselves, and about sound that is kept of clips."""

from __future__ import annotations

from app.words._catalogue import _, ngettext

# The command line


def on_sound_help() -> str:
    """``--on-sound``."""
    return _(
        "Log a take as soon as somebody plays, from two seconds before the first note on; noise, hum and a "
        "knock begin none."
    )


def quiet_help() -> str:
    """``--quiet``."""
    return _("With --on-sound: end the take after so much quiet, and wait for the next.")


def length_help() -> str:
    """``--length``."""
    return _("End each take after so many seconds.")


def keep_clips_help() -> str:
    """``--keep-clips``."""
    return _("Keep a second of sound before and after each clip of a take as FLAC beside the log.")


def needs_a_take(option: str) -> str:
    """An option about takes, and nothing that makes one."""
    return _("{option} is about takes: give --take or --on-sound too.").format(option=option)


def needs_on_sound(option: str) -> str:
    """An option about takes that begin by themselves."""
    return _("{option} is about takes that begin by themselves: give --on-sound too.").format(option=option)


def input_away(name: str) -> str:
    """An input went silent, and the watch waits for it."""
    return _(
        "{name} has stopped delivering sound. Check its plug and its switches: the watch goes on when it is "
        "back, and Ctrl+C ends it."
    ).format(name=name)


def no_take_begun() -> str:
    """The watch is over, and nobody played."""
    return _("Nobody played: no take was begun.")


# Both


def waiting() -> str:
    """A take begins with the first note."""
    return _("Waiting for the first note.")


def take_begins() -> str:
    """It was heard."""
    return _("A take has begun.")


def keeping_clips(folder: str) -> str:
    """What is recorded, and where."""
    return _("The sound around each clip is kept in {folder}.").format(folder=folder)


# The window


def arm() -> str:
    """The button, before it is pressed."""
    return _("Begin with first note")


def arm_tip() -> str:
    """What the button does."""
    return _(
        "Begin a take as soon as somebody plays, from two seconds before the first note on. "
        "Settings say what ends it."
    )


def armed() -> str:
    """The button, while a take waits."""
    return _("Waiting for first note")


def ends_after(length: str) -> str:
    """The button in a take that quiet ends."""
    return _("Ends after {length} of quiet").format(length=length)


def ends_in(length: str) -> str:
    """The button while the end comes near."""
    return _("Ends in {length}").format(length=length)


def end_after_quiet() -> str:
    """Setting: how much quiet ends a take that began by itself."""
    return _("End after quiet of")


def end_after_time() -> str:
    """Setting: how much time ends any take."""
    return _("End after")


def never() -> str:
    """Setting: it does not end a take."""
    return _("Never")


def seconds(count: int) -> str:
    """Setting: a length."""
    return ngettext("{count} second", "{count} seconds", count).format(count=count)


def minutes(count: int) -> str:
    """Setting: a length."""
    return ngettext("{count} minute", "{count} minutes", count).format(count=count)


def keep_clips() -> str:
    """Setting: keep the sound around clips."""
    return _("Keep the sound of clips")


def keep_clips_tip(folder: str = "") -> str:
    """What that means."""
    said = _("A second before and after each clip of a take is written to the disk, for you to hear.")
    return f"{said}\n{folder}" if folder else said


def clips_are_kept() -> str:
    """The line that is there while something is recorded."""
    return _("Clips are kept as sound")
