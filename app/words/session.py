"""The guided gain session in words: one thing to do at a time."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.numbers import decibels

_NO_NOISE_DBFS = -120.0
"""Converters make more noise of their own; the session hears no lower."""


def guide_button(key: str) -> str:
    """The button that begins the session, with its key."""
    return _("Set the gain  ·  {key}").format(key=key)


def guide_tip() -> str:
    """What that button does."""
    return _("Leads you to the right gain in four steps: quiet, loud, turn, check. It takes a minute or two.")


def guide_title(channel: str) -> str:
    """Over the session; ``channel`` is empty where there is only one."""
    return _("Set the gain: {channel}").format(channel=channel) if channel else _("Set the gain")


def skip_button(key: str) -> str:
    """Go on to the next step."""
    return _("Skip  ·  {key}").format(key=key)


def skip_tip() -> str:
    """What skipping does."""
    return _("Goes on with what was heard so far.")


def nothing_to_skip_with() -> str:
    """Why this step cannot be skipped yet."""
    return _("Nothing was heard yet that the next step could go by.")


def leave_button(key: str) -> str:
    """Leave the session."""
    return _("Leave  ·  {key}").format(key=key)


def clipped_now(count: int) -> str:
    """It clipped while the session listened."""
    return ngettext("It clipped just now", "It clipped {count} times just now", count).format(count=count)


def step_spoken(number: int, steps: int, name: str) -> str:
    """Where the session stands, for a screen reader."""
    return _("Step {number} of {steps}: {name}").format(number=number, steps=steps, name=name)


def step_name(step: str) -> str:
    """Heading of a step."""
    return {
        "quiet": _("Quiet"),
        "loud": _("Loud"),
        "turn": _("Turn"),
        "check": _("Check"),
        "done": _("Done"),
    }[step]


def cue_sentence(cue: str, *, gain_change_db: int = 0, remaining_db: float = 0.0) -> str:
    """What the player should do now.

    Parameters
    ----------
    gain_change_db
        What the session asks for.
    remaining_db
        What is left of it.
    """
    left = max(1, round(abs(remaining_db)))
    up = gain_change_db > 0
    if cue == "turn":
        text = _("Turn the gain up about {size} dB") if up else _("Turn the gain down about {size} dB")
        return text.format(size=abs(gain_change_db))
    if cue == "more":
        text = _("Go on: still about {left} dB up") if up else _("Go on: still about {left} dB down")
        return text.format(left=left)
    if cue == "too_far":
        text = _("Too far: about {left} dB back down") if up else _("Too far: about {left} dB back up")
        return text.format(left=left)
    return {
        "be_quiet": _("Stay quiet for a moment: hands off the instrument, no talking"),
        "somebody_plays": _("Something still sounds. Wait until it has died away"),
        "play_loudest": _("Play your loudest part, as loud as in the take"),
        "keep_playing": _("Keep playing, just like that"),
        "still_rising": _("It is still getting louder. Give it all you have"),
        "play_louder": _("Only little of that was loud. Play the loudest part for longer"),
        "there": _("There. Stop turning"),
        "play_again": _("Play the loudest part again, to check"),
        "done": _("Leave the gain as it is, and record"),
        "unchecked": _("Nothing was played to check it. Record, and watch the verdict"),
    }[cue]


def no_noise(quiet_dbfs: float) -> bool:
    """Whether it was too quiet for an input that is connected."""
    return quiet_dbfs <= _NO_NOISE_DBFS


def quiet_sentence(quiet_dbfs: float) -> str:
    """What the room and the chain were found to do."""
    if no_noise(quiet_dbfs):
        return _("No noise comes in, not even the input's own: check cable, mute switch and channel.")
    if quiet_dbfs <= -60.0:
        return _("Room and input are quiet, at {level} dBFS.").format(level=decibels(quiet_dbfs, 0))
    return _("Room and input make some noise, {level} dBFS: a closed window or a stopped fan helps.").format(
        level=decibels(quiet_dbfs, 0)
    )


def turning_hint(*, follows_noise: bool, follows_playing: bool = True) -> str:
    """How the knob can be followed while it is turned."""
    if follows_noise:
        return _("Pause while you turn: the noise tells where the knob is, and this says when to stop.")
    if not follows_playing:
        return _("Turn now. So small a turn cannot be followed; playing again checks it.")
    return _("Play on while you turn, and this says when to stop.")


def forecast_sentence(clip_probability: float, clip_probability_high: float, take_s: float) -> str:
    """The chance of clipping in plain words, never more exact than it is."""
    minutes = max(1, round(take_s / 60.0))
    if clip_probability_high < 0.01:
        text = _("A take of {minutes} min will very probably stay clear of the rail.")
    elif clip_probability < 0.01:
        text = _("Fewer than 1 in 100 takes of {minutes} min would touch the rail.")
    elif clip_probability > 0.9:
        text = _("Nearly every take of {minutes} min would touch the rail.")
    elif clip_probability > 0.4:
        text = _("About every second take of {minutes} min would touch the rail.")
    else:
        one_in = next(n for n in (3, 5, 10, 20, 50, 100) if clip_probability >= 0.75 / n)
        text = _("About 1 in {one_in} takes of {minutes} min would touch the rail.")
        return text.format(one_in=one_in, minutes=minutes)
    return text.format(minutes=minutes)
