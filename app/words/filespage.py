"""The page about recorded files and the watched folder in the window."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.numbers import clock


def page_title() -> str:
    """On the button that opens the page."""
    return _("Files")


def page_tip() -> str:
    """What the page is for."""
    return _("Measure recorded files, or watch the folder that recordings land in.")


def drop_hint() -> str:
    """Nothing was dropped yet."""
    return _("Drop sound files or folders anywhere on this window, or choose them above.")


def choose_files() -> str:
    """A button that asks for files."""
    return _("Files …")


def choose_folder() -> str:
    """A button that asks for a folder."""
    return _("Folder …")


def choose_files_tip() -> str:
    """What the button does."""
    return _("Measures sound files. They are only read.")


def choose_folder_tip() -> str:
    """What the button does."""
    return _("Measures every sound file in a folder.")


def cancel() -> str:
    """A button that ends the measuring."""
    return _("Stop measuring")


def part_label() -> str:
    """What is played in the files."""
    return _("Judge as")


def sound_files() -> str:
    """A kind of file."""
    return _("Sound files")


def headings() -> tuple[str, ...]:
    """The columns of the list."""
    return (_("File"), _("Verdict"), _("Gain dB"), _("Length"), _("Peak dBFS"), _("Clips"))


def list_name(count: int) -> str:
    """What the list is, for who cannot see it."""
    return ngettext("{count} file measured", "{count} files measured", count).format(count=count)


def progress(done: int, total: int, left_s: float | None) -> str:
    """How far the measuring is."""
    text = ngettext("{done} of {total} file", "{done} of {total} files", total).format(done=done, total=total)
    if left_s is None:
        return text
    return _("{text}, {left} left").format(text=text, left=clock(left_s))


def looking() -> str:
    """Files are being found."""
    return _("Looking for sound files …")


def finished(good: int, to_act_on: int, unreadable: int) -> str:
    """What came of all files."""
    lines = [
        ngettext("{count} file measured.", "{count} files measured.", good + to_act_on).format(
            count=good + to_act_on
        )
    ]
    if to_act_on:
        lines.append(
            ngettext("{count} asks for something.", "{count} ask for something.", to_act_on).format(
                count=to_act_on
            )
        )
    if unreadable:
        lines.append(
            ngettext("{count} could not be read.", "{count} could not be read.", unreadable).format(
                count=unreadable
            )
        )
    return " ".join(lines)


def stopped(done: int) -> str:
    """The measuring was ended."""
    return ngettext("Stopped after {done} file.", "Stopped after {done} files.", done).format(done=done)


def unreadable() -> str:
    """In the place of a verdict."""
    return _("unreadable")


def choose_one() -> str:
    """No file is chosen."""
    return _("Choose a file to read what to do.")


def clip_line(place: str, channel: int, kind: str) -> str:
    """One clip of a file."""
    if kind == "flat_top":
        return _("{place}  channel {channel}: possible overload before the converter").format(
            place=place, channel=channel
        )
    return _("{place}  channel {channel}: clip").format(place=place, channel=channel)


def more_clips(count: int) -> str:
    """Clips that are not listed."""
    return ngettext("… and {count} more", "… and {count} more", count).format(count=count)


def folder_title() -> str:
    """Heading of what is about the watched folder."""
    return _("Watched folder")


def not_watching() -> str:
    """No folder is watched."""
    return _(
        "No folder is watched. Choose the one that recordings land in: each new file becomes a take "
        "in the log."
    )


def watch_folder() -> str:
    """A button that asks for a folder."""
    return _("Watch a folder …")


def watch_tip() -> str:
    """What the button does."""
    return _("Also where the driver lets only one program at the device. Files are only read.")


def watch_existing() -> str:
    """A switch."""
    return _("Measure what is there, too")


def stop_watching() -> str:
    """A button."""
    return _("Stop watching")


def folder_counts(waiting: int, logged: int, unreadable_files: int) -> str:
    """What the watch has done so far."""
    lines = [ngettext("{count} new take", "{count} new takes", logged).format(count=logged)]
    if waiting:
        lines.append(ngettext("{count} waiting", "{count} waiting", waiting).format(count=waiting))
    if unreadable_files:
        lines.append(
            ngettext("{count} unreadable", "{count} unreadable", unreadable_files).format(
                count=unreadable_files
            )
        )
    return " · ".join(lines)


def folder_measuring(name: str, percent: int) -> str:
    """The file that is measured just now."""
    return _("Measuring {name}: {percent} %").format(name=name, percent=percent)


def folder_news(name: str, verdict: str, clips: int) -> str:
    """A file that became a take."""
    return ngettext("{name}: {verdict}, {clips} clip", "{name}: {verdict}, {clips} clips", clips).format(
        name=name, verdict=verdict, clips=clips
    )


def files_action() -> str:
    """What a key does."""
    return _("Choose files to measure")


def folder_action() -> str:
    """What a key does."""
    return _("Choose a folder to measure")


def watch_action() -> str:
    """What a key does."""
    return _("Watch a folder, or stop watching")


def cancel_action() -> str:
    """What a key does."""
    return _("Stop measuring files")
