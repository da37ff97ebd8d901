"""What the window says besides verdicts and problems: labels, keys, hints, names for screen readers."""

from __future__ import annotations

from collections.abc import Sequence

from app.words._catalogue import _, ngettext
from app.words.keys import with_key
from app.words.numbers import MINUS, clock, decibels


def title() -> str:
    """The window's title."""
    return "Swellmark"


# The places


def places_name() -> str:
    """What a screen reader calls the row of places to go to."""
    return _("Places")


def board_title() -> str:
    """The button that goes back to the chart and the verdict."""
    return _("Sea chart")


def board_tip() -> str:
    """What is seen there."""
    return _("The chart, the verdict and the takes of this evening.")


# The chart


def chart_name() -> str:
    """What a screen reader calls the chart."""
    return _("Sea chart of the last 30 seconds")


def chart_description(average_dbfs: float, hold_dbfs: float, floor_dbfs: float, clips: int) -> str:
    """What the chart shows, for those who cannot see it."""
    return _("Average {average} dBFS, highest peak {hold} dBFS, noise floor {floor} dBFS, {clips}.").format(
        average=decibels(average_dbfs),
        hold=decibels(hold_dbfs),
        floor=decibels(floor_dbfs, 0),
        clips=clip_count(clips),
    )


def rail_label() -> str:
    """0 dBFS, beside the chart."""
    return _("rail\nfull scale")


def deck_label() -> str:
    """The peak ceiling, beside the chart."""
    return _("deck\npeaks stay under")


def band_label() -> str:
    """The window of the average, beside the chart."""
    return _("the average\nbelongs here")


def bed_label() -> str:
    """The noise floor, beside the chart."""
    return _("bed\nnoise floor")


def bed_unknown_label() -> str:
    """The noise floor before it is known."""
    return _("bed\nnot known yet")


def seconds_ago(seconds: int) -> str:
    """A place on the time axis."""
    return _("{seconds} s ago").format(seconds=seconds)


def now() -> str:
    """The right end of the time axis."""
    return _("now")


# Figures


def average_label() -> str:
    """Over the slow average."""
    return _("Average")


def hold_label() -> str:
    """Over the peak hold."""
    return _("Peak hold")


def headroom_label() -> str:
    """Over the headroom."""
    return _("Headroom")


def floor_label() -> str:
    """Over the noise floor."""
    return _("Noise floor")


def figure_spoken(label: str, value: str, unit: str) -> str:
    """A figure for a screen reader: the sign as a word, because some leave it out."""
    return _("{label}: {value} {unit}").format(
        label=label, value=value.replace(MINUS, _("minus ")), unit=unit
    )


def clip_count(count: int) -> str:
    """How often it clipped."""
    if count == 0:
        return _("no clips")
    return ngettext("{count} clip", "{count} clips", count).format(count=count)


# The input


def input_name() -> str:
    """What a screen reader calls the choice of inputs."""
    return _("Input")


def looking_for_inputs() -> str:
    """While the system lists its devices."""
    return _("Looking for inputs …")


def open_file() -> str:
    """The entry that asks for a file."""
    return _("A sound file …")


def look_again() -> str:
    """The entry that lists the devices again."""
    return _("Look for inputs again")


def open_file_title() -> str:
    """Over the choice of a file."""
    return _("Choose a sound file")


def sound_files() -> str:
    """The kind of files."""
    return _("Sound files")


def all_files() -> str:
    """Every file."""
    return _("All files")


def part_name() -> str:
    """What a screen reader calls the choice of parts."""
    return _("What you play")


def part_tip() -> str:
    """What the part changes."""
    return _("What you play: the advice knows how much louder such a part gets in a take.")


def player_gain_name() -> str:
    """The slider beside the built-in player."""
    return _("Gain knob of the built-in player")


def player_gain_value(gain: str) -> str:
    """Where that slider stands."""
    return _("Player's gain {gain} dB").format(gain=gain)


def player_gain_short(gain: str) -> str:
    """The same where there is little room."""
    return _("{gain} dB").format(gain=gain)


def stream_facts(rate_hz: int, channels: int, lost_frames: int, note: str = "") -> str:
    """What is open, in a line."""
    facts = [
        _("{rate} kHz").format(rate=f"{rate_hz / 1000:g}"),
        ngettext("{count} channel", "{count} channels", channels).format(count=channels),
        _("nothing lost") if not lost_frames else lost(lost_frames / rate_hz),
    ]
    return "  ·  ".join([*facts, note] if note else facts)


def lost(lost_s: float) -> str:
    """How much is missing."""
    return _("{seconds} s lost").format(seconds=f"{lost_s:.2f}" if lost_s < 10 else f"{lost_s:.0f}")


# States of the input


def state_opening() -> str:
    """While an input opens."""
    return _("Opening the input …")


def state_closed() -> str:
    """Nothing is open."""
    return _("No input is open. Choose one above.")


def state_stalled() -> str:
    """Nothing arrives."""
    return _("The input delivers nothing. Check that it is switched on and plugged in; it goes on by itself.")


def state_lost() -> str:
    """The device is gone."""
    return _("The input went away. Plug it in again, or choose another one above.")


def state_ended() -> str:
    """The file is over."""
    return _("The file is over. Choose it again to hear it once more.")


def state_stale() -> str:
    """The engine does not report."""
    return _("These readings are old: the measuring does not answer.")


def fault_in_program(what: str) -> str:
    """Something in the window itself broke."""
    return _("A fault in the program: {what}. The measuring goes on.").format(what=what)


def first_run_hint() -> str:
    """The one sentence at the first start."""
    return _("This is the built-in player. To hear yourself, choose your input at the top left.")


def more_messages(count: int) -> str:
    """How many other messages wait."""
    return _("+{count} more").format(count=count)


def dismiss() -> str:
    """Close the message."""
    return _("Close")


def save_details() -> str:
    """Write down what the program knows about a fault."""
    return _("Save details …")


def save_details_title() -> str:
    """Over the choice of where to."""
    return _("Save the details of the fault")


def details_not_saved(cause: str) -> str:
    """The details could not be written."""
    return _("The details could not be saved: {cause}.").format(cause=cause)


# Channels


def harbour_name() -> str:
    """What a screen reader calls the overview of channels."""
    return _("Channels")


def channel_spoken(name: str, verdict: str, average_dbfs: float, clips: int, *, chosen: bool) -> str:
    """One channel of the overview for a screen reader."""
    text = _("{name}: {verdict}, average {average} dBFS, {clips}").format(
        name=name,
        verdict=verdict,
        average=decibels(average_dbfs).replace(MINUS, _("minus ")),
        clips=clip_count(clips),
    )
    return _("{text}, on the chart").format(text=text) if chosen else text


def channel_name(number: int) -> str:
    """A channel without a name of its own."""
    return _("Channel {number}").format(number=number)


def follow_worst() -> str:
    """Let the chart choose the channel by itself."""
    return _("Follow the worst")


# Takes


def begin_take(key: str) -> str:
    """The button that begins a take, with its key."""
    return with_key(_("Begin the take"), key)


def end_take(key: str, duration: str) -> str:
    """The same button while a take runs."""
    return with_key(_("End the take  ·  {duration}").format(duration=duration), key)


def afresh(key: str) -> str:
    """Let the evidence and the peak hold go."""
    return with_key(_("Start afresh"), key)


def afresh_tip() -> str:
    """What starting afresh does."""
    return _("Lets go of the peak hold, the clip counts and what the advice rests on.")


def look_name(name: str) -> str:
    """The colours that are in use."""
    return {"dark": _("Dark"), "light": _("Light"), "contrast": _("High contrast")}[name]


def look_tip() -> str:
    """What that button does."""
    return _("Changes between dark, light and high contrast.")


def takes_title() -> str:
    """Over the list."""
    return _("Takes")


def take_name_hint() -> str:
    """In the empty field for the next take's name."""
    return _("Name of the next take")


def no_takes() -> str:
    """The list while it is empty."""
    return _(
        "No takes yet. Press Space when you begin to play, and again when you end: "
        "every clip will be listed here with its place."
    )


def take_headings() -> tuple[str, ...]:
    """The columns of the list."""
    return (_("Take"), _("Name"), _("Length"), _("Verdict"), _("Levels"), _("Peaks and clips"))


def take_figures(peak_dbfs: float | None, clips: int, lost_s: float, *, interrupted: bool) -> str:
    """A take's figures in a line."""
    parts = [_("peaks {peak}").format(peak=decibels(peak_dbfs)), clip_count(clips)]
    if lost_s > 0:
        parts.append(lost(lost_s))
    if interrupted:
        parts.append(_("interrupted"))
    return "  ·  ".join(parts)


def places(count: int, places_s: Sequence[float]) -> str:
    """Clips with their places in time, as many as are given: ``9 clips at 0:03.1, 0:14.9 and 7 more``."""
    shown = ", ".join(clock(place_s, 1) for place_s in places_s)
    more = count - len(places_s)
    if more > 0:
        shown = _("{places} and {more} more").format(places=shown, more=more)
    return _("{clips} at {places}").format(clips=clip_count(count), places=shown)


def take_running() -> str:
    """In the list, for the take that runs now."""
    return _("running")


def take_title(number: int, name: str) -> str:
    """A take by number and name."""
    return (
        _("Take {number}  ·  {name}").format(number=number, name=name)
        if name
        else _("Take {number}").format(number=number)
    )


def event_line(
    kind: str,
    t_s: float,
    channel: int | None,
    length_s: float,
    peak_dbfs: float | None,
    count: int = 1,
) -> str:
    """Something that happened in a take, with its place."""
    what = {
        "clip": _("clip"),
        "possible_clip": _("flat tops, possibly a clip"),
        "over_ceiling": _("over the deck"),
        "gap": _("lost"),
        "input_lost": _("input lost"),
        "input_back": _("input back"),
        "bad_samples": _("bad samples"),
        "gain_moved": _("gain turned"),
    }.get(kind, kind)
    line = f"{clock(t_s, 1)}   {what}"
    if channel is not None:
        line += _(", channel {channel}").format(channel=channel)
    if count > 1:
        line += _(", {count} times in {length}").format(count=count, length=clock(length_s, 1))
    elif kind in ("clip", "possible_clip", "gap") and length_s > 0:
        line += f", {length_s * 1000:.1f} ms"
    if kind == "over_ceiling" and peak_dbfs is not None:
        line += f", {decibels(peak_dbfs)} dBFS"
    return line


def nothing_happened() -> str:
    """A take without events."""
    return _("Nothing to report: no clip, nothing lost.")


def choose_a_take() -> str:
    """Beside the list, while no take is chosen."""
    return _("Choose a take to see every clip with its place.")


def events_name() -> str:
    """What a screen reader calls the list of events."""
    return _("What happened in the take")


# The card


def card_name() -> str:
    """What a screen reader calls the verdict card."""
    return _("Verdict")


def no_verdict() -> str:
    """In place of a verdict while nothing is heard."""
    return _("Waiting")


def old_reading() -> str:
    """In place of a verdict when the readings are old."""
    return _("Old reading")


# Why


def why_button(key: str) -> str:
    """The button that opens the explanation."""
    return with_key(_("Why?"), key)


def why_tip() -> str:
    """What that button does."""
    return _("Explains the verdict and the words that it uses.")


def why_title(verdict: str) -> str:
    """Over the explanation of a verdict; ``verdict`` is its name, empty while there is none."""
    return _("Why {verdict}?").format(verdict=verdict) if verdict else _("Words of the trade")


def close_why(key: str) -> str:
    """Close the explanation."""
    return with_key(_("Close"), key)


def term_name(term: str) -> str:
    """Over the explanation of a word, with the keys of :func:`app.words.advice.term_explanation`."""
    return {
        "dbfs": _("dBFS"),
        "average": _("Average"),
        "peak": _("Peak"),
        "headroom": _("Headroom"),
        "noise_floor": _("Noise floor"),
        "low_gain": _("Why a low gain does no harm"),
    }[term]
