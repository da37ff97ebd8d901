"""Texts of the command line: what each command does, and what it says."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.numbers import decibels


def program_help() -> str:
    """``swellmark --help``."""
    return _(
        "A coach for recording levels: it listens while you play and says what to do with the gain. "
        "Without a command it opens the window."
    )


def no_screen() -> str:
    """The window was asked for where there is no desktop."""
    return _("There is no screen to open a window on. In a terminal, 'swellmark watch' does the same job.")


def input_help() -> str:
    """``--input``."""
    return _("What to listen to: device:NAME-or-INDEX[:CH[,CH]], file:PATH, or player[:PART[:GAIN_DB]].")


def input_belongs_to_the_command(command: str) -> str:
    """``--input`` before a command."""
    return _("Put --input behind '{command}'.").format(command=command)


def part_help() -> str:
    """``--part``."""
    return _("What is played: bass, voice, drums … Percussive parts are judged by their peaks.")


def parts_help() -> str:
    """``--part`` where each channel may have its own."""
    return _(
        "What is played: bass, voice, drums … 1=voice is for channel 1 alone; may be given several times. "
        "Percussive parts are judged by their peaks."
    )


def ceilings_help() -> str:
    """``--peaks-under``."""
    return _(
        "What peaks should stay under, in dBFS; the average follows. 2=-12 is for channel 2 alone; may be "
        "given several times. [default: -6]"
    )


def no_channel_to_limit(text: str) -> str:
    """What stands before = in ``--peaks-under`` is no channel."""
    return _("'{text}' is no channel: --peaks-under 2=-12 is for channel 2.").format(text=text)


def no_ceiling(text: str, low_dbfs: float, high_dbfs: float) -> str:
    """What ``--peaks-under`` was given is no level that makes sense there."""
    return _("'{text}' is no level for peaks to stay under: from {low} to {high} dBFS.").format(
        text=text, low=decibels(low_dbfs, 0), high=decibels(high_dbfs, 0)
    )


def no_channel(text: str) -> str:
    """What stands before = in ``--part`` is no channel."""
    return _("'{text}' is no channel: --part 1=voice is for channel 1.").format(text=text)


def json_help() -> str:
    """``--json``."""
    return _("Print JSON on stdout, and nothing else there.")


def watch_help() -> str:
    """``swellmark watch --help``."""
    return _("The coach in a terminal: verdict, advice and figures while somebody plays.")


def seconds_help() -> str:
    """``--seconds``."""
    return _("Stop after so many seconds of sound.")


def take_help() -> str:
    """``--take``."""
    return _("Log what is heard as a take with this name.")


def check_help() -> str:
    """``swellmark check --help``."""
    return _("Measure recorded files; a folder stands for the sound files in it.")


def take_seconds_help() -> str:
    """``--take-seconds``."""
    return _("How long the take to come is, for the forecast.")


def explain_help() -> str:
    """``--explain``."""
    return _("Explain each verdict in a few sentences; not with --json.")


def see_help(command: str) -> str:
    """Behind every complaint about a command line."""
    return _("'{command} --help' tells how it is used.").format(command=command)


def no_time(text: str) -> str:
    """A time that is none."""
    return _("{text!r} is no number of seconds.").format(text=text)


def no_window(cause: str) -> str:
    """Qt cannot be loaded."""
    return _("The window cannot be opened: {cause}. 'swellmark watch' works without one.").format(cause=cause)


def fault_of_ours(what: str) -> str:
    """A mistake in the program."""
    return _("This is a fault in the program: {what}. With SWELLMARK_LOG=error it tells where.").format(
        what=what
    )


def log_not_written(path: str) -> str:
    """The program ends with something unwritten."""
    return _("{path}: the take could not be written to its end. What was logged before is safe.").format(
        path=path
    )


def forecast_line(chance: str, peak: str, high_peak: str) -> str:
    """What a whole take will do, behind the sentence on its chance of clipping."""
    return _("{chance} Its highest peak: about {peak} dBFS, in one take of twenty over {high_peak}.").format(
        chance=chance, peak=peak, high_peak=high_peak
    )


def of_channel(channel: int, sentence: str) -> str:
    """Which channel is meant, where they differ."""
    return _("Channel {channel}: {sentence}").format(channel=channel, sentence=sentence)


def verdict_of_channel(verdict: str, channel: int) -> str:
    """A verdict, where the channels differ."""
    return _("{verdict}, channel {channel}").format(verdict=verdict, channel=channel)


def measured(files: int, to_act_on: int, unreadable: int) -> str:
    """Last line of ``check`` with several files."""
    said = [
        ngettext("{files} file measured", "{files} files measured", files).format(files=files),
        ngettext("{n} needs attention", "{n} need attention", to_act_on).format(n=to_act_on)
        if to_act_on
        else _("none needs attention"),
    ]
    if unreadable:
        said.append(_("{n} could not be read").format(n=unreadable))
    return ", ".join(said) + "."


def checking() -> str:
    """Label of the progress bar."""
    return _("Measuring")


def so_many_of(done: int, total: int) -> str:
    """Beside the progress bar: how many files are done."""
    return _("{done} of {total}").format(done=done, total=total)


def time_left(clock: str) -> str:
    """Beside the progress bar."""
    return _("{clock} left").format(clock=clock)


def stopped(unmeasured: int) -> str:
    """Last line of ``check`` when it was interrupted."""
    return ngettext(
        "stopped; {n} file was not measured.", "stopped; {n} files were not measured.", unmeasured
    ).format(n=unmeasured)


def file_heading() -> str:
    """Head of the column with file names."""
    return _("File")


def channel_heading() -> str:
    """Head of the column with channel numbers."""
    return _("Channel")


def verdict_heading() -> str:
    """Head of the column with verdicts."""
    return _("Verdict")


def peak_heading() -> str:
    """Head of the column with sample peaks."""
    return _("Peak dBFS")


def true_peak_heading() -> str:
    """Head of the column with true peaks."""
    return _("True peak dBTP")


def average_heading() -> str:
    """Head of the column with the average over loud playing."""
    return _("Average dBFS")


def floor_heading() -> str:
    """Head of the column with noise floors."""
    return _("Noise floor dBFS")


def clips_heading() -> str:
    """Head of the column with clip counts."""
    return _("Clips")


def gain_heading() -> str:
    """Head of the column with the change of gain."""
    return _("Gain dB")


def loudness_line(integrated: str, span: str) -> str:
    """Programme figures under the table of a file."""
    return _("Loudness {integrated} LUFS, range {span} LU").format(integrated=integrated, span=span)


def clip_line(kind: str, place: str, channel: int, frames: int, peak: str) -> str:
    """One clip of a file."""
    what = _("clip") if kind == "full_scale" else _("possible overload before the converter")
    length = ngettext("{frames} frame", "{frames} frames", frames).format(frames=frames)
    return _("{place}  channel {channel}: {what}, {length}, peak {peak} dBFS").format(
        place=place, channel=channel, what=what, length=length, peak=peak
    )


def more_clips(count: int) -> str:
    """Clips that are not listed one by one."""
    return ngettext("… and {count} more", "… and {count} more", count).format(count=count)


def listening_to(name: str, rate_khz: str, channels: int) -> str:
    """First line of ``watch``."""
    said = ngettext("{channels} channel", "{channels} channels", channels).format(channels=channels)
    return _("Listening to {name}, {rate} kHz, {said}. Ctrl+C ends.").format(
        name=name, rate=rate_khz, said=said
    )


def heard(length: str, average: str, peak: str, clips: int) -> str:
    """Last line of ``watch``."""
    said = ngettext("{clips} clip", "{clips} clips", clips).format(clips=clips) if clips else _("no clips")
    return _("Heard {length}: highest average {average} dBFS, highest peak {peak} dBFS, {said}.").format(
        length=length, average=average, peak=peak, said=said
    )


def unpaced_help() -> str:
    """``--unpaced``."""
    return _("Read a file as fast as it can be read instead of as live.")


def watch_line(*, place: str, verdict: str, advice: str, average: str, peak: str, floor: str) -> str:
    """One line of ``watch``."""
    return _(
        "{place:>7}  {verdict}: {advice}  (average {average}, highest peak {peak}, noise {floor} dBFS)"
    ).format(place=place, verdict=verdict, advice=advice, average=average, peak=peak, floor=floor)


def input_back(name: str) -> str:
    """The input delivers again."""
    return _("{name} delivers sound again.").format(name=name)


def frames_lost(lost_frames: int, lost_s: str) -> str:
    """Something is missing."""
    return ngettext(
        "{lost_frames} frame was lost ({lost_s} s): what it held was not seen.",
        "{lost_frames} frames were lost ({lost_s} s): what they held was not seen.",
        lost_frames,
    ).format(lost_frames=lost_frames, lost_s=lost_s)


def take_logged(number: int, clips: int) -> str:
    """A take was written to the log."""
    said = ngettext("{clips} clip", "{clips} clips", clips).format(clips=clips) if clips else _("no clips")
    return _("Take {number} is in the log: {said}.").format(number=number, said=said)
