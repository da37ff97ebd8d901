"""What is said while a folder is watched: by the command, and on its page in the window."""

from __future__ import annotations

from app.words._catalogue import _, ngettext


def folder_help() -> str:
    """``swellmark folder --help``."""
    return _(
        "Watch the folder that recordings land in: each new sound file is measured when it has stopped "
        "growing, and joins the take log. Ctrl+C ends it."
    )


def existing_help() -> str:
    """``--existing``."""
    return _("Measure what is in the folder already, too.")


def seconds_help() -> str:
    """``--seconds``."""
    return _("Stop after so long; without it, watch until Ctrl+C.")


def not_a_folder(path: str) -> str:
    """Say that there is no such folder."""
    return _("{path} is not a folder.").format(path=path)


def not_measured(path: str, cause: str) -> str:
    """Say that a file broke the measurement."""
    return _("{path} cannot be measured: {cause}.").format(path=path, cause=cause)


def watching(key: str, folder: str, known: int) -> str:
    """How a folder is watched just now, as one line."""
    there = ngettext("{known} sound file is known", "{known} sound files are known", known).format(
        known=known
    )
    sentence = {
        "beginning": _("Looking at what is in {folder} …"),
        "native": _("Watching {folder}: {there}."),
        "polling": _("Watching {folder}, looking every few seconds: {there}."),
        "away": _("{folder} is not there just now. Watching goes on when it comes back."),
        "over": _("{folder} is not watched."),
    }[key]
    return sentence.format(folder=folder, there=there)


def logged_line(name: str, number: str, verdict: str, length: str, peak: str, clips: int) -> str:
    """A file that became a take, as one line."""
    return ngettext(
        "{name}: take {number}, {verdict}, {length}, peak {peak} dBFS, {clips} clip",
        "{name}: take {number}, {verdict}, {length}, peak {peak} dBFS, {clips} clips",
        clips,
    ).format(name=name, number=number, verdict=verdict, length=length, peak=peak, clips=clips)


def summary(logged: int, unreadable: int, waiting: int) -> str:
    """What came of the watch."""
    lines = [
        ngettext("{count} file joined the log.", "{count} files joined the log.", logged).format(count=logged)
    ]
    if unreadable:
        lines.append(
            ngettext(
                "{count} file could not be read.", "{count} files could not be read.", unreadable
            ).format(count=unreadable)
        )
    if waiting:
        lines.append(
            ngettext(
                "{count} file was still to be measured.", "{count} files were still to be measured.", waiting
            ).format(count=waiting)
        )
    return " ".join(lines)
