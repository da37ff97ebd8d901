"""What the take log says: its troubles, and the headings and labels of lists, sheets and exports."""

from __future__ import annotations

from app.words._catalogue import _, ngettext


def log_full(path: str) -> str:
    """Say that the disk is full, and what that means for the take."""
    return _(
        "The disk with the take log ({path}) is full: what happens now is kept in memory and written when "
        "there is room again. Free some space before you quit."
    ).format(path=path)


def log_on_its_reserve(path: str) -> str:
    """Say that the disk is full and the log uses the room that was kept for this."""
    return _(
        "The disk with the take log ({path}) is full: the log goes on in the room that was kept for this, "
        "which is little. Free some space."
    ).format(path=path)


def log_busy(path: str) -> str:
    """Say that another program keeps the log locked."""
    return _(
        "Another program keeps the take log ({path}) locked: what happens now is kept in memory and written "
        "when it lets go."
    ).format(path=path)


def log_cannot_be_written(path: str, cause: str) -> str:
    """Say that writing failed for another reason."""
    return _(
        "The take log ({path}) cannot be written ({cause}): what happens now is kept in memory and written "
        "when it can be."
    ).format(path=path, cause=cause)


def log_cannot_be_opened(path: str, cause: str) -> str:
    """Say that the log cannot be opened or read."""
    return _("The take log ({path}) cannot be read: {cause}.").format(path=path, cause=cause)


def not_a_log(path: str) -> str:
    """Say that the file is another program's database."""
    return _("{path} is a database, but not a take log; it was left alone.").format(path=path)


def log_is_newer(path: str) -> str:
    """Say that a newer version wrote this log."""
    return _("The take log ({path}) was written by a newer Swellmark; it was left alone.").format(path=path)


def log_set_aside(path: str, aside: str, recovered: int) -> str:
    """Say that a damaged log was set aside, and what could be read of it."""
    found = ngettext("{count} take was recovered", "{count} takes were recovered", recovered)
    return _("The take log ({path}) was damaged: it was set aside as {aside}; {found}.").format(
        path=path, aside=aside, found=found.format(count=recovered)
    )


def events_given_up(count: int) -> str:
    """Say that memory ran out before the log could be written."""
    return ngettext(
        "{count} event could not be kept in memory while the log could not be written: this take's list of "
        "events has a hole.",
        "{count} events could not be kept in memory while the log could not be written: this take's list of "
        "events has a hole.",
        count,
    ).format(count=count)


def evidence_not_kept(folder: str, cause: str) -> str:
    """Say that the sound around a clip could not be written."""
    return _(
        "The sound around a clip could not be kept in {folder} ({cause}). The clip itself is in the log."
    ).format(folder=folder, cause=cause)


def no_room_for_evidence() -> str:
    """The disk is for the log alone now."""
    return _("the disk is nearly full")


def edit_failed(cause: str) -> str:
    """A change of the log broke: a fault of ours."""
    return _("The change was not made because of a fault in the program ({cause}).").format(cause=cause)


def no_such_take(number: int) -> str:
    """Say that there is no take with this number."""
    return _("There is no take {number} in the log.").format(number=number)


def unknown_ending(path: str, endings: tuple[str, ...]) -> str:
    """Say that an export file's name does not tell its format."""
    return _("{path}: the name must end in {endings}, so that the format is known.").format(
        path=path, endings=_(" or ").join((", ".join(endings[:-1]), endings[-1]))
    )


def cannot_be_exported(path: str, cause: str) -> str:
    """Say that an export file cannot be written."""
    return _("{path} cannot be written: {cause}.").format(path=path, cause=cause)


def not_a_plain_wav(path: str) -> str:
    """Say that marks can be set in plain WAV files only."""
    return _("{path}: marks can be set in plain WAV files only, up to 4 GiB.").format(path=path)


def wav_is_cut_off(path: str) -> str:
    """Say that a WAV file ends before its own length."""
    return _("{path}: the file is cut off, so that no mark can be placed for certain.").format(path=path)


def cannot_be_copied(path: str, cause: str) -> str:
    """Say that a sound file cannot be read or its copy written."""
    return _("{path} cannot be copied: {cause}.").format(path=path, cause=cause)


def marks_need_a_copy(path: str) -> str:
    """Say that the recording itself is never changed."""
    return _("{path} is the recording itself: marks are set in a copy, so give another name.").format(
        path=path
    )


def marks_need_a_sound() -> str:
    """Say that a WAV file cannot be made of figures."""
    return _("Marks are set in a copy of the recording: name it with --sound.")


def marks_take_one() -> str:
    """Say that a recording is of one take."""
    return _("A recording is of one take: give one number.")


def sound_help() -> str:
    """``--sound``."""
    return _("The recording of the take (WAV): FILE becomes a copy of it with the clips as cue points.")


def offset_help() -> str:
    """``--offset``."""
    return _("Where in the recording the take begins, in seconds.")


def marked(count: int, left_out: int, path: str) -> str:
    """Say what became of the marks."""
    said = ngettext("{count} mark set in {path}", "{count} marks set in {path}", count).format(
        count=count, path=path
    )
    if not left_out:
        return said + "."
    rest = ngettext("{left_out} lies outside of it", "{left_out} lie outside of it", left_out)
    return said + "; " + rest.format(left_out=left_out) + "."


def exported(count: int, path: str) -> str:
    """Say that takes were written to a file."""
    return ngettext("{count} take written to {path}.", "{count} takes written to {path}.", count).format(
        count=count, path=path
    )


def no_takes_yet() -> str:
    """The list is empty."""
    return _("There are no takes in the log yet.")


def one_line(text: str, most: int = 60) -> str:
    """Somebody's text for a line of a list or a terminal: no breaks, nothing invisible, not too long.

    Signs that steer a terminal or turn the direction of writing become a replacement sign.
    """
    shown = "".join(
        sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in " ".join(text.split())
    )
    return shown if len(shown) <= most else shown[: most - 1] + "…"


def takes_help() -> str:
    """``swellmark takes --help``."""
    return _("The take log: what each take was like, and every clip in it.")


def list_help() -> str:
    """``swellmark takes list --help``."""
    return _("List the takes, the newest first.")


def last_help() -> str:
    """``--last``."""
    return _("Only the newest N.")


def show_help() -> str:
    """``swellmark takes show --help``."""
    return _("Show one take: its figures and what happened in it.")


def export_help() -> str:
    """``swellmark takes export --help``."""
    return _("Write takes to a file; its ending chooses JSON, CSV or a page to print (HTML).")


def to_help() -> str:
    """``--to``."""
    return _("The file; one of that name is replaced.")


def take_heading() -> str:
    """Head of the column with take numbers."""
    return _("Take")


def name_heading() -> str:
    """Head of the column with take names."""
    return _("Name")


def part_heading() -> str:
    """Head of the column with parts."""
    return _("Part")


def started_heading() -> str:
    """Head of the column with start times."""
    return _("Started")


def length_heading() -> str:
    """Head of the column with lengths."""
    return _("Length")


def verdict_heading() -> str:
    """Head of the column with verdicts."""
    return _("Verdict")


def channel_heading() -> str:
    """Head of the column with channel numbers."""
    return _("Channel")


def peak_heading() -> str:
    """Head of the column with sample peaks."""
    return _("Peak dBFS")


def average_max_heading() -> str:
    """Head of the column with the highest slow average."""
    return _("Highest average dBFS")


def headroom_heading() -> str:
    """Head of the column with headroom."""
    return _("Headroom dB")


def floor_heading() -> str:
    """Head of the column with noise floors."""
    return _("Noise floor dBFS")


def clips_heading() -> str:
    """Head of the column with clip counts."""
    return _("Clips")


def place_heading() -> str:
    """Head of the column with places in the take."""
    return _("Place")


def event_heading() -> str:
    """Head of the column with what happened."""
    return _("What happened")


def state_name(key: str) -> str:
    """How far a take got, for people."""
    return {"open": _("running"), "closed": _("complete"), "interrupted": _("interrupted")}[key]


def kept() -> str:
    """Somebody marked this take."""
    return _("marked to keep")


def find_help() -> str:
    """``--find``."""
    return _("Only takes with all these words in name, part, notes, input or session.")


def take_title(number: int, name: str) -> str:
    """Heading of one take."""
    return (
        _("Take {number}: {name}").format(number=number, name=name)
        if name
        else _("Take {number}").format(number=number)
    )


def input_line(name: str, rate_khz: str) -> str:
    """What a take came from."""
    return _("{name}, {rate_khz} kHz").format(name=name, rate_khz=rate_khz)


def lost_line(frames: int, lost_s: str) -> str:
    """That a part of the take was not seen."""
    return ngettext(
        "{frames} frame ({lost_s} s) of this take was lost on the way in; no figure covers it.",
        "{frames} frames ({lost_s} s) of this take were lost on the way in; no figure covers them.",
        frames,
    ).format(frames=frames, lost_s=lost_s)


def interrupted_line() -> str:
    """That a take did not end as asked."""
    return _("This take was interrupted: the input or the program went away before it was ended.")


def event_text(
    kind: str,
    *,
    length_ms: str | None = None,
    peak: str | None = None,
    verdict: str | None = None,
    count: int = 1,
    length_s: str | None = None,
    over: str | None = None,
    change: str | None = None,
    upward: bool = True,
) -> str:
    """What happened, in a few words.

    Parameters
    ----------
    length_ms, length_s
        How long it lasted; of several things gathered, the seconds are said.
    over
        Decibels over the ceiling, or of a clip over full scale.
    change, upward
        Decibels by which the gain moved, and which way.
    """
    several = count > 1
    known = {
        "clip": ngettext("clip", "{count} clips", count),
        "possible_clip": ngettext(
            "possible overload before the converter", "{count} possible overloads before the converter", count
        ),
        "over_ceiling": ngettext("peak over the ceiling", "{count} peaks over the ceiling", count),
        "gap": _("gap: sound was lost here"),
        "input_lost": _("the input stopped delivering"),
        "input_back": _("the input delivers again"),
        "bad_samples": _("samples that are no numbers, treated as silence"),
        "verdict": _("the verdict became {verdict}").format(verdict=verdict),
        "gain_moved": _gain_moved(change, upward=upward),
    }
    facts = [known.get(kind, kind).format(count=count) if kind != "verdict" else known[kind]]
    if several and length_s is not None:
        facts.append(_("within {length_s} s").format(length_s=length_s))
    elif length_ms is not None:
        facts.append(_("{length_ms} ms").format(length_ms=length_ms))
    if peak is not None:
        facts.append(_("peak {peak} dBFS").format(peak=peak))
    if over is not None and kind == "over_ceiling":
        facts.append(_("{over} dB over").format(over=over))
    elif over is not None:
        facts.append(_("{over} dB over full scale").format(over=over))
    return ", ".join(facts)


def _gain_moved(change: str | None, *, upward: bool) -> str:
    if change is None:
        return _("the gain was turned")
    if upward:
        return _("the gain was turned up, about {change} dB").format(change=change)
    return _("the gain was turned down, about {change} dB").format(change=change)


def place_in_bars(place: str, bar: int, beat: str) -> str:
    """A place in time with its bar and beat."""
    return _("{place}, bar {bar}, beat {beat}").format(place=place, bar=bar, beat=beat)


def mark_label(text: str, channel: str) -> str:
    """Name of a cue point."""
    return _("channel {channel}: {text}").format(channel=channel, text=text) if channel else text


def more_events(count: int) -> str:
    """Events that are not listed one by one."""
    return ngettext("… and {count} more", "… and {count} more", count).format(count=count)


def no_events() -> str:
    """Nothing happened in a take."""
    return _("Nothing was noted in this take.")


def sheet_title() -> str:
    """Title of the page to print."""
    return _("Takes")


def sheet_foot(version: str) -> str:
    """Last line of the page to print."""
    return _(
        "Measured by Swellmark {version}. Levels are dBFS after AES17: a full-scale sine reads 0 "
        "both as peak and as average."
    ).format(version=version)


def picture_label(name: str) -> str:
    """What a take's picture shows, for who cannot see it."""
    return _("Levels of {name} over time: the average as water, the peaks above it, clips marked.").format(
        name=name
    )
