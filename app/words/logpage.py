"""The page with the take log in the window."""

from __future__ import annotations

from app.words._catalogue import _, ngettext
from app.words.numbers import clock


def page_title() -> str:
    """On the button that opens the page."""
    return _("Takes")


def page_tip() -> str:
    """What the page is for."""
    return _("All takes: find them, name them, mark the ones to keep, compare, print and send them.")


def find_hint() -> str:
    """In the field to search with."""
    return _("Find in name, part, notes or session")


def session_label() -> str:
    """Which session's takes are listed."""
    return _("Session")


def every_session() -> str:
    """The takes of all sessions are listed."""
    return _("Every session")


def session_choice(name: str, day: str, takes: int, kept: int) -> str:
    """One session in the list of sessions."""
    title = name or day
    count = ngettext("{takes} take", "{takes} takes", takes).format(takes=takes)
    if name:
        count = _("{day}, {count}").format(day=day, count=count)
    if kept:
        return _("{title} ({count}, {kept} to keep)").format(title=title, count=count, kept=kept)
    return _("{title} ({count})").format(title=title, count=count)


def session_name_hint() -> str:
    """In the field with the chosen session's name."""
    return _("Name of this session")


def new_session() -> str:
    """A button."""
    return _("New session")


def new_session_tip() -> str:
    """What the button does."""
    return _("The takes that follow belong to a session of their own.")


def kept_only() -> str:
    """A switch."""
    return _("Only those to keep")


def headings() -> tuple[str, ...]:
    """The columns of the list."""
    return (
        _("Keep"),
        _("Take"),
        _("Name"),
        _("Part"),
        _("Started"),
        _("Length"),
        _("Verdict"),
        _("Peak dBFS"),
        _("Clips"),
    )


def list_name(count: int) -> str:
    """What the list is, for who cannot see it."""
    return ngettext("{count} take", "{count} takes", count).format(count=count)


def keep_mark(kept: bool) -> str:
    """The mark of a take in words."""
    return _("to keep") if kept else _("not marked")


def nothing_found() -> str:
    """No take fits what is looked for."""
    return _("No take fits.")


def nothing_yet() -> str:
    """The log is empty."""
    return _("No takes yet. A take begins with the space bar.")


def choose_one() -> str:
    """No take is chosen."""
    return _("Choose a take.")


def several_chosen(count: int) -> str:
    """More than one take is chosen."""
    return ngettext("{count} take chosen", "{count} takes chosen", count).format(count=count)


def name_hint() -> str:
    """In the field with a take's name."""
    return _("Name of the take")


def notes_hint() -> str:
    """In the field with a take's notes."""
    return _("Notes")


def keep() -> str:
    """A switch: somebody wants to keep the take."""
    return _("Keep")


def play() -> str:
    """Hear the sound around a clip."""
    return _("Play this place")


def play_tip() -> str:
    """What is played, and how loud."""
    return _("Plays the sound that was kept around it, 12 dB down. Headphones down first.")


def hush() -> str:
    """Stop playing."""
    return _("Stop")


def compare() -> str:
    """A button."""
    return _("Compare")


def compare_tip() -> str:
    """What the button does."""
    return _("The chosen takes side by side; a single one against the same part in an earlier session.")


def export() -> str:
    """A button that asks for a file."""
    return _("Save …")


def export_tip() -> str:
    """What the button does."""
    return _("Writes the chosen takes to a page to print (HTML), a table (CSV) or JSON.")


def send() -> str:
    """A button that asks for a file."""
    return _("For a helper …")


def send_tip() -> str:
    """What the button does."""
    return _("Writes one page for whoever helps you: no sound in it, and no folder of this computer.")


def delete() -> str:
    """A button."""
    return _("Delete")


def delete_tip() -> str:
    """What the button does."""
    return _("It can be undone; after thirty days the take is gone.")


def move() -> str:
    """On a list of sessions that opens; as short as a button."""
    return _("Move to …")


def move_tip() -> str:
    """What the list does."""
    return _("Puts the chosen takes into another session. It can be undone.")


def move_action() -> str:
    """What a key does."""
    return _("Move takes to another session")


def own_session() -> str:
    """Where takes can be moved: to a session that begins with them."""
    return _("A new session")


def moved(count: int, session: str) -> str:
    """Takes were moved; ``session`` is a name or a day, or empty where it is new."""
    if not session:
        return ngettext(
            "{count} take moved to a new session.", "{count} takes moved to a new session.", count
        ).format(count=count)
    return ngettext("{count} take moved to {session}.", "{count} takes moved to {session}.", count).format(
        count=count, session=session
    )


def undo_move(count: int) -> str:
    """A button that undoes a move."""
    return ngettext("Move {count} take back", "Move {count} takes back", count).format(count=count)


def moved_back(count: int) -> str:
    """A move was undone."""
    return ngettext(
        "{count} take is in its session again.", "{count} takes are in their sessions again.", count
    ).format(count=count)


def undo(count: int) -> str:
    """A button that brings deleted takes back."""
    return ngettext("Bring {count} take back", "Bring {count} takes back", count).format(count=count)


def deleted(count: int) -> str:
    """Takes were deleted."""
    return ngettext("{count} take deleted.", "{count} takes deleted.", count).format(count=count)


def restored(count: int) -> str:
    """Takes were brought back."""
    return ngettext("{count} take is back.", "{count} takes are back.", count).format(count=count)


def html_files() -> str:
    """A kind of file."""
    return _("Page to print")


def csv_files() -> str:
    """A kind of file."""
    return _("Table")


def json_files() -> str:
    """A kind of file."""
    return _("JSON")


def file_name() -> str:
    """What an export is called at first."""
    return _("takes")


def figures_line(length_s: float, peak: str, clips: int, started: str) -> str:
    """A take in a line."""
    return ngettext(
        "{length}, peak {peak} dBFS, {clips} clip · {started}",
        "{length}, peak {peak} dBFS, {clips} clips · {started}",
        clips,
    ).format(length=clock(length_s), peak=peak, clips=clips, started=started)


def event_line(place: str, channel: str, text: str) -> str:
    """What happened in a take, in a line."""
    if channel:
        return _("{place}  channel {channel}: {text}").format(place=place, channel=channel, text=text)
    return _("{place}  {text}").format(place=place, text=text)


def levels_name(clips: int) -> str:
    """What the picture of a take's levels shows."""
    return ngettext(
        "Levels over time, {clips} clip marked", "Levels over time, {clips} clips marked", clips
    ).format(clips=clips)


def back_to_list() -> str:
    """A button."""
    return _("Back to the list")


def find_action() -> str:
    """What a key does."""
    return _("Find takes")


def keep_action() -> str:
    """What a key does."""
    return _("Mark the take as one to keep, or not")


def compare_action() -> str:
    """What a key does."""
    return _("Compare takes")


def delete_action() -> str:
    """What a key does."""
    return _("Delete takes")


def undo_action() -> str:
    """What a key does."""
    return _("Undo deleting or moving takes")


def export_action() -> str:
    """What a key does."""
    return _("Save takes to a file")


def send_action() -> str:
    """What a key does."""
    return _("Write a page for a helper")
