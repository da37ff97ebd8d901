"""What the take log says: its troubles, and the headings and labels of lists, sheets and exports."""

from __future__ import annotations

from app.words._catalogue import _, ngettext


def log_full(path: str) -> str:
    """Say that the disk is full, and what that means for the take."""
    return _(
        "The disk with the take log ({path}) is full: what happens now is kept in memory and written when "
        "there is room again. Free some space before you quit."
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


def no_such_take(number: int) -> str:
    """Say that there is no take with this number."""
    return _("There is no take {number} in the log.").format(number=number)
