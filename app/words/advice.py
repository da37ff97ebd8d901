"""Verdicts, advice and reasons in words. Short enough to read while holding an instrument.

Verdicts and reasons come as their keys (plain strings, the values of ``app.coach.judgement``), figures as a
mapping whose names carry the unit.
"""

from __future__ import annotations

from collections.abc import Mapping

from app.words._catalogue import _, ngettext
from app.words.numbers import UNKNOWN, decibels


def verdict_name(key: str) -> str:
    """The verdict's name: ``Fair water``; a dash for what is none."""
    return {
        "slack": _("Slack"),
        "low_water": _("Low water"),
        "fair_water": _("Fair water"),
        "high_water": _("High water"),
        "awash": _("Awash"),
    }.get(key, UNKNOWN)


def advice_sentence(reason: str, gain_change_db: int, values: Mapping[str, float] | None = None) -> str:
    """What to do, with which knob, by how many decibels."""
    figures = {name: decibels(value) for name, value in (values or {}).items()}
    special = {
        "nothing_heard": _("Play something, or check cable and channel"),
        "exact_zeros": _("Find out why nothing comes in"),
        "knob_moved": _("Play your loudest part again"),
        "listening": _("Keep playing, your loudest part"),
        "clipped": _("Turn the gain down about {size} dB, then play it again"),
        "noise_near": _("Move closer, play louder, or turn the gain up about {size} dB"),
        "hum_near": _("Find the hum first, then turn the gain up about {size} dB"),
    }
    if reason in special:
        text = special[reason]
    elif gain_change_db == 0:
        text = _("Leave the gain as it is")
    elif gain_change_db > 0:
        text = _("Turn the gain up about {size} dB")
    else:
        text = _("Turn the gain down about {size} dB")
    return text.format(size=abs(gain_change_db), **figures)


def reason_sentence(reason: str, values: Mapping[str, float]) -> str:
    """Why, with the figures."""
    if reason == "listening":
        missing = max(1, round(values.get("missing_s", 1.0)))
        return ngettext(
            "{missing} more second of playing is needed.",
            "{missing} more seconds of playing are needed.",
            missing,
        ).format(missing=missing)
    figures = {name: decibels(value) for name, value in values.items()}
    return {
        "nothing_heard": _("Nothing but noise is coming in."),
        "exact_zeros": _("Not even noise comes in. Look at mute switch, socket and permission."),
        "knob_moved": _("The gain was changed, so listening starts afresh."),
        "average_low": _(
            "Loud playing averages {average_dbfs} dBFS. Turned up later, it brings noise along."
        ),
        "average_high": _("Loud playing averages {average_dbfs} dBFS: little room is left for more."),
        "peaks_low": _("Peaks reach only {peak_dbfs} dBFS. Turned up later, they bring noise along."),
        "peaks_high": _("Peaks reach {peak_dbfs} dBFS, over the ceiling at {ceiling_dbfs}."),
        "take_louder": _("Peaks reach {peak_dbfs} dBFS. A take usually runs a little louder than this."),
        "ceiling_near": _(
            "The average is low, {average_dbfs} dBFS, but peaks reach {peak_dbfs}: leave the room above."
        ),
        "clipped": _("It clipped, so the true peaks are hidden: at least {least_db} dB have to go."),
        "flat_tops": _(
            "Wave tops look cut off below full scale. If less gain does not help, turn down what comes "
            "before it."
        ),
        "noise_near": _("The noise is only {noise_gap_db} dB under your playing, and gain lifts both alike."),
        "hum_near": _("Mains hum is only {noise_gap_db} dB under your playing, and gain lifts both alike."),
        "in_window": _("Loud playing averages {average_dbfs} dBFS, peaks reach {peak_dbfs}."),
    }[reason].format(**figures)


def term_explanation(term: str) -> str:
    """What a word of the trade means here, for a beginner.

    Parameters
    ----------
    term
        ``dbfs``, ``average``, ``peak``, ``headroom``, ``noise_floor``, ``crest``, ``gain`` or ``low_gain``.
    """
    return {
        "dbfs": _(
            "dBFS counts down from the largest number a recording can hold, which is 0. So levels are "
            "negative, and −20 dBFS is louder than −30. Every 6 dB down is half the height of the wave."
        ),
        "average": _(
            "The average follows loudness as a slow pointer would, taking about a third of a second. It says "
            "how full the sound is. Here it should swing around −18 dBFS, which is called 0 ref."
        ),
        "peak": _(
            "The peak is the highest single point of the wave. Ears hardly notice it, but it is what clips. "
            "Plucked and struck notes have peaks far above their average, held notes do not."
        ),
        "headroom": _(
            "Headroom is the space between the highest peak and 0 dBFS. It is there for the moment when you "
            "play louder than you thought you would."
        ),
        "noise_floor": _(
            "The noise floor is what is left when nobody plays: the room, the cable, the input itself. Gain "
            "lifts it together with your playing, so gain alone does not make a recording cleaner."
        ),
        "crest": _(
            "The crest is the distance from the average up to the peaks. Drums have a wide one, so their "
            "gain is set by the peaks; an organ has a narrow one."
        ),
        "gain": _(
            "Gain is the knob on the interface, before the sound becomes numbers. Faders come later, and "
            "no fader can repair what clipped at the input."
        ),
        "low_gain": _(
            "A low gain does no harm with 24 bits: they reach far below any room's noise, so the recording "
            "can be turned up later as if it had been made louder. What clipped is gone for good."
        ),
    }[term]


def explanation(verdict: str) -> str:
    """What the verdict means, for somebody who sees it for the first time."""
    return {
        "slack": _(
            "The program hears nothing but noise. Either nobody plays, or the sound does not get here: check "
            "the cable, the channel, a mute switch, and the permission to use the input."
        ),
        "low_water": _(
            "The sound is well under where it should be. It does no harm to record a little low, but so low "
            "the noise of the input is close, and it comes up with the sound when you turn it up later."
        ),
        "fair_water": _(
            "Average and peaks are where they should be: well above the noise, and with headroom (space "
            "between the highest peak and 0 dBFS, the largest number there is) for when you play louder."
        ),
        "high_water": _(
            "The peaks come close to 0 dBFS, the largest number there is. Players get louder in a take, and "
            "what goes over 0 is cut off for good. Less gain costs nothing: turn the recording up later."
        ),
        "awash": _(
            "The sound went over 0 dBFS, the largest number there is, and the tops of its waves were cut off "
            "(it clipped). No later step brings them back. Turn the gain down and play it again."
        ),
    }[verdict]
