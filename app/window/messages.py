"""Which sentences the banner shows for a state of the program, the most important first."""

from __future__ import annotations

from collections.abc import Sequence

from app.engine.snapshot import InputState, Snapshot
from app.errors import SwellmarkError
from app.window.banner import Message
from app.words import messages as words
from app.words.faults import fault_sentence

STALE_S = 0.2
"""A running engine publishes at least twenty times a second; an older reading is shown as old."""


def is_stale(snapshot: Snapshot, now_s: float) -> bool:
    """Whether readings that should be new are old. ``now_s`` is ``time.monotonic()``."""
    running = snapshot.state in (InputState.RUNNING, InputState.STALLED, InputState.LOST)
    return running and now_s - snapshot.published_s > STALE_S


def is_live(snapshot: Snapshot, now_s: float) -> bool:
    """Whether the figures describe what the input does now, or did when its file ended."""
    if snapshot.state is InputState.ENDED:
        return True
    return snapshot.state is InputState.RUNNING and not is_stale(snapshot, now_s)


def messages_for(
    snapshot: Snapshot,
    now_s: float,
    *,
    log_problem: SwellmarkError | None = None,
    told: Sequence[Message] = (),
    hint: str = "",
) -> list[Message]:
    """What to say.

    Parameters
    ----------
    told
        Sentences about things that the user did or that broke, which stay until they are waved away.
    hint
        For the first run.
    """
    found: list[Message] = []
    if snapshot.problem is not None:
        found.append(
            Message(snapshot.problem.sentence, urgent=True, detail=snapshot.problem.detail, stays=True)
        )
    elif is_stale(snapshot, now_s):
        found.append(Message(words.state_stale(), urgent=True, stays=True))
    state = {
        InputState.STALLED: Message(words.state_stalled(), urgent=True, stays=True),
        InputState.LOST: Message(words.state_lost(), urgent=True, stays=True),
        InputState.ENDED: Message(words.state_ended(), stays=True),
        InputState.OPENING: Message(words.state_opening(), stays=True),
    }.get(snapshot.state)
    if state is not None:
        found.append(state)
    found.extend(told)
    if log_problem is not None:
        found.append(Message(log_problem.sentence, urgent=True, detail=log_problem.detail, stays=True))
    if snapshot.state is InputState.RUNNING and snapshot.info is not None and snapshot.info.doubt:
        found.append(Message(snapshot.info.doubt))
    if snapshot.state in (InputState.RUNNING, InputState.ENDED):
        for fault in snapshot.faults:
            channel = fault.channel + 1 if fault.channel is not None else None
            found.append(Message(fault_sentence(fault.kind.value, channel, fault.value)))
    if snapshot.state is InputState.CLOSED:
        found.append(Message(words.state_closed(), stays=True))
    if hint:
        found.append(Message(hint))
    return found
