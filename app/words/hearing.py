"""The page about the headphone balance, in words; what it advises is said in :mod:`app.words.balance`."""

from __future__ import annotations

from app.words._catalogue import _
from app.words.balance import pitch_range
from app.words.numbers import clock, decibels


def page_title() -> str:
    """The button that opens the page."""
    return _("Balance")


def page_tip() -> str:
    """What the page is for."""
    return _("How far to pull the backing down, so that you hear yourself without more gain")


def drop_hint() -> str:
    """What stands in the picture's place before there is a backing."""
    return _("Drop a backing track here, or several stems that begin together. Then play your part.")


def backing_label() -> str:
    """Over the files of the backing."""
    return _("Backing")


def choose_backing() -> str:
    """A button."""
    return _("Choose backing …")


def add_stems() -> str:
    """A button."""
    return _("Add stems …")


def remove_file(name: str) -> str:
    """A button beside a file."""
    return _("Remove {name}").format(name=name)


def remove_short() -> str:
    """What stands on that button."""
    return _("Remove")


def cancel() -> str:
    """A button."""
    return _("Cancel")


def sound_files() -> str:
    """The kind of file in the dialogue."""
    return _("Sound files")


def all_files() -> str:
    """Every kind of file in the dialogue."""
    return _("All files")


def measuring(share: float) -> str:
    """While files are measured."""
    return _("Measuring, {share} %").format(share=round(100 * share))


def writing(share: float) -> str:
    """While copies are written."""
    return _("Writing copies, {share} %").format(share=round(100 * share))


def part_label() -> str:
    """In front of the choice of the part."""
    return _("Your part")


def part_live() -> str:
    """The part is what is played now."""
    return _("As you play now")


def part_from_file() -> str:
    """The part comes from a file."""
    return _("From a file …")


def part_file(name: str) -> str:
    """The part comes from this file."""
    return _("From {name}").format(name=name)


def part_waiting() -> str:
    """Nothing was heard yet."""
    return _("Not heard yet. Play as you will in the take.")


def part_heard(playing_s: float, loudness_lufs: float) -> str:
    """How much of the part was heard."""
    return _("Heard for {time}, mostly near {loudness} LUFS").format(
        time=clock(playing_s), loudness=decibels(loudness_lufs, 0)
    )


def part_anew() -> str:
    """A button that forgets what was heard of the part."""
    return _("Hear it anew")


def more_me() -> str:
    """The player's own wish."""
    return _("More me")


def more_me_value(amount_db: int) -> str:
    """How much of it."""
    return _("{amount} dB more").format(amount=amount_db) if amount_db else _("as advised")


def amount(pull_down_db: int) -> str:
    """How far one file goes down."""
    return _("{amount} dB down").format(amount=pull_down_db) if pull_down_db else _("leave it")


def file_loudness(loudness_lufs: float) -> str:
    """How loud one file is."""
    return _("{loudness} LUFS").format(loudness=decibels(loudness_lufs, 1))


def in_the_way(share: float, low_hz: int, high_hz: int) -> str:
    """What one of several stems hides."""
    return _("{share} % in the way, {range}").format(
        share=round(100 * share), range=pitch_range(low_hz, high_hz)
    )


def nothing_lost() -> str:
    """A stem that hides nothing."""
    return _("not in the way")


def save_copies() -> str:
    """A button."""
    return _("Save copies …")


def save_copies_tip() -> str:
    """What the button does."""
    return _("New files at the advised level, in a folder of your choice. Nothing is written over.")


def copies_folder() -> str:
    """Title of the dialogue."""
    return _("Where to save the turned-down copies")


def saved(paths: list[str]) -> str:
    """Copies were written."""
    if len(paths) == 1:
        return _("Saved {path}").format(path=paths[0])
    return _("Saved {count} copies, the first as {path}").format(count=len(paths), path=paths[0])


def picture_name() -> str:
    """The picture, for a screen reader."""
    return _("Loudness of the backing over the song, with your part")


def now_label() -> str:
    """The backing as it is."""
    return _("now")


def then_label(pull_down_db: int) -> str:
    """The backing turned down alike."""
    return _("{amount} dB down").format(amount=pull_down_db) if pull_down_db else _("left as it is")


def then_stems_label() -> str:
    """The stems turned down by different amounts."""
    return _("turned down")


def part_lane() -> str:
    """Where the part lies in the picture."""
    return _("your part")


def lost_now_label() -> str:
    """Where the part is lost."""
    return _("lost now")


def lost_then_label() -> str:
    """Where it still is, afterwards."""
    return _("lost then")


def picture_summary(lost_now_s: float, lost_then_s: float) -> str:
    """The picture, for somebody who does not see it."""
    return _(
        "The part is lost for {now} of the song with the backing as it is, and for {then} with it turned "
        "down."
    ).format(now=clock(lost_now_s), then=clock(lost_then_s))


def picture_summary_waiting(loudest_lufs: float) -> str:
    """The picture without a part."""
    return _(
        "The loudest 3 seconds of the backing reach {loudness} LUFS. No part has been heard yet."
    ).format(loudness=decibels(loudest_lufs, 0))


def what_to_do() -> str:
    """The side with the advice, for a screen reader."""
    return _("What to do")


def pitch_title() -> str:
    """Over the audibility by pitch."""
    return _("How much of the time your part is heard, by pitch")


def pitch_now_then(now: float, then: float) -> str:
    """Both shares of one range."""
    return _("{now} → {then} %").format(now=round(100 * now), then=round(100 * then))


def nothing_there() -> str:
    """The part has nothing in this range."""
    return _("nothing of you")


def play_along(key: str) -> str:
    """A button."""
    return _("Play along  ·  {key}").format(key=key)


def stop_playing(key: str) -> str:
    """The same button while the backing plays."""
    return _("Stop  ·  {key}").format(key=key)


def play_along_tip() -> str:
    """What the button does."""
    return _(
        "Plays the backing as far down as advised. It rises in two seconds and is never louder than that."
    )


def play_action() -> str:
    """For the page of keys."""
    return _("Play along with the backing, or stop it")


def hush_action() -> str:
    """For the page of keys."""
    return _("Be silent: stop whatever plays")


def output_label() -> str:
    """In front of the choice of the output."""
    return _("Play through")


def playing_at(position_s: float, duration_s: float) -> str:
    """How far the backing has got."""
    return _("{position} of {duration}").format(position=clock(position_s), duration=clock(duration_s))


def gaps(count: int) -> str:
    """What the output missed."""
    if count == 1:
        return _("One gap in the headphones: the computer was busy.")
    return _("{count} gaps in the headphones: the computer was busy.").format(count=count)


def headphones_first() -> str:
    """Before anything plays."""
    return _("Headphones down before you start it. Loudspeakers would be heard in the microphone.")


def bleed_found(under_input_db: float) -> str:
    """The backing is in the microphone."""
    return _(
        "The backing is heard in the microphone, about {under} dB under everything else. It will be in the "
        "take: turn the headphones down, or take closed ones."
    ).format(under=decibels(under_input_db, 0))


def bleed_none() -> str:
    """It is not, as far as can be told."""
    return _("The backing is not heard in the microphone.")


def bleed_unknown() -> str:
    """Too early to tell."""
    return _("Listening whether the backing gets into the microphone …")
