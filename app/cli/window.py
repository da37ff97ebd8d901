"""Puts the program together for the window: engine, coach, log and settings."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from app import settings
from app.cli.channeldesk import ChannelDesk
from app.cli.folderdesk import FolderDesk
from app.cli.options import live_coach
from app.cli.takedesk import TakeDesk
from app.coach.judgement import Target
from app.coach.parts import PartProfile, load_parts
from app.coach.session import GuidedSession
from app.engine.evidence import EvidenceTaker
from app.engine.handsfree import HandsFree
from app.engine.loop import Engine
from app.errors import DeviceError, LogError, UsageError
from app.inputs.devices import list_devices
from app.inputs.outputs import list_outputs
from app.inputs.playback import headphones
from app.inputs.player import PARTS
from app.inputs.spec import PlayerSpec, open_spec, parse_spec
from app.log.book import TakeBook
from app.log.evidence import evidence_folder
from app.log.keeper import TakeKeeper
from app.log.records import TakeDetail, TakeRow
from app.log.store import Store
from app.log.writer import LogWriter
from app.window.balanceports import BalanceServices
from app.window.handsfreeports import HandsFreeServices
from app.window.language import speak_as_the_desktop
from app.window.program import run
from app.window.services import InputChoice, PartChoice, Services
from app.window.takeports import TakesServices
from app.words import cli as words
from app.words import inputs as input_words
from app.words import parts as part_words
from app.words import player as player_words

if TYPE_CHECKING:
    from app.check.tracks import TrackFile
    from app.conform.case import Result

_TAKES_SHOWN = 500
_PROFILES_PLAYED = {"guitar": "acoustic_guitar"}
"""What the built-in player plays, where its profile is called otherwise: it strums before a microphone."""


def open_window(spec: str | None) -> int:
    """Open the window and stay until it is closed; returns the exit status.

    Raises
    ------
    app.errors.SwellmarkError
        For an input that makes no sense, or a part profile that is wrong, before any window opens.
    """
    speak_as_the_desktop()
    if spec is not None:
        parse_spec(spec)
    if not _has_screen():
        raise UsageError(words.no_screen())
    parts = load_parts(settings.own_parts_file())
    target = Target()
    log = LogWriter()
    evidence = EvidenceTaker(log.keep)
    keeper = TakeKeeper(log, evidence)
    handsfree = HandsFree(
        keeper,
        takes=lambda: keeper.takes,
        begin=lambda: desk.begin_next(),  # noqa: PLW0108 - the desk needs the engine, which needs this
        end=lambda: desk.end(),  # noqa: PLW0108
    )
    engine = Engine(
        live_coach(parts["other"], target),
        [handsfree],
        [handsfree.input_gone, keeper.input_gone, evidence.input_gone],
    )
    engine.add_listener(evidence)
    desk = TakeDesk(keeper, engine, parts, target, handsfree)
    memory = settings.Memory()
    folder = FolderDesk(log, memory, parts, target)
    folder.resume()
    player = headphones()
    try:
        return run(
            Services(
                engine=engine,
                keeper=desk,
                settings=memory,
                open_input=partial(open_spec, paced=True),
                list_inputs=_list_inputs,
                list_takes=partial(_list_takes, log),
                read_take=partial(_read_take, log),
                close_log=partial(_close_log, log, folder),
                make_session=lambda part, channel: partial(
                    GuidedSession, parts.get(part, parts["other"]), desk.target_of(channel)
                ),
                part_of_input=_played_part,
                parts=[_part_choice(part) for part in parts.values()],
                choose_part=desk.choose_part,
                log_problem=lambda: log.problem,
                log_notice=lambda: log.notice,
                prove=_prove,
                target=target,
                target_of=desk.target_of,
                first_input=spec,
                channels=ChannelDesk(engine, desk, memory),
                handsfree=HandsFreeServices(
                    state=lambda: handsfree.state,
                    wish=handsfree.wish,
                    name_next=desk.name_next,
                    keeps_clips=lambda: evidence.on,
                    keep_clips=partial(setattr, evidence, "on"),
                    clips_folder=str(evidence_folder(log.path)),
                ),
                balance=BalanceServices(
                    measure=_measure_track,
                    listen=engine.add_listener,
                    leave=engine.remove_listener,
                    list_outputs=list_outputs,
                    headphones=player,
                ),
                takes=TakesServices(book=TakeBook(log), headphones=player, folder=folder),
            )
        )
    finally:
        # The window does this in order when it closes; here it is for the case that it never opened.
        engine.stop()
        folder.close()
        log.close()


def _measure_track(path: Path, progress: Callable[[float], None]) -> TrackFile:
    """Measure a backing or a part, or remember it from the last time."""
    from app.check.shelf import Shelf  # late: the first picture waits for nothing that it does not show
    from app.check.tracks import measure_track

    return measure_track(path, progress, Shelf(settings.cache_folder() / "tracks"))


def _part_choice(part: PartProfile) -> PartChoice:
    hints = tuple(part_words.part_hint(hint) for hint in part.hints)
    return PartChoice(part.key, part_words.part_name(part.name), hints)


def _played_part(spec: str) -> str | None:
    """What the built-in player plays is known; what comes in elsewhere is for the user to say."""
    asked = parse_spec(spec)
    if not isinstance(asked, PlayerSpec):
        return None
    played = asked.part or PARTS[0]
    return _PROFILES_PLAYED.get(played, played)


def _has_screen() -> bool:
    """Whether Qt would find a screen; without one it ends the process instead of raising an error."""
    if not sys.platform.startswith("linux") or os.environ.get("QT_QPA_PLATFORM"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _list_inputs() -> list[InputChoice]:
    """Devices first, then the built-in player, which is there even when PortAudio is not."""
    try:
        devices = list_devices()
    except DeviceError:  # opening one says why; the list just lacks them
        devices = ()
    choices = [
        InputChoice(
            device.spec(),
            input_words.device_choice(device.name, device.host_api, is_default=device.is_default),
        )
        for device in devices
    ]
    return choices + [InputChoice(str(PlayerSpec(part)), player_words.input_name(part)) for part in PARTS]


def _prove() -> Iterator[Result]:
    """Run the test signals on one thread, so that the input that is open goes on being measured."""
    from app.conform import run, trials  # late: hardly anybody asks for it

    return run(trials(), workers=1)


def _close_log(log: LogWriter, folder: FolderDesk) -> None:
    """Write the rest, and watch no folder any more: its takes would come too late.

    Raises
    ------
    app.errors.LogError
        When something could not be written, so that it is not lost without a word.
    """
    folder.close()
    if not log.close():
        raise log.problem or LogError(words.log_not_written(str(log.path)))


def _list_takes(log: LogWriter) -> list[TakeRow]:
    with Store(log.path) as store:
        return store.list_takes(limit=_TAKES_SHOWN)


def _read_take(log: LogWriter, number: int) -> TakeDetail:
    with Store(log.path) as store:
        return store.take(number)
