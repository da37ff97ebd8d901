"""The one line that names an input, read and opened.

::

    device:NAME-or-INDEX[:CH[,CH]]    file:PATH    player[:PART[:GAIN_DB]]

A path or the name of a device may itself contain colons, so ``file:`` takes all that follows, and for a
device the end counts as channels only where the device list does not know better:
:attr:`DeviceSpec.readings` gives both ways to read it, in the order in which to try them.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from app.errors import UsageError
from app.inputs.source import MOST_CHANNELS, Source
from app.words import inputs as words

LOWEST_GAIN_DB = -60.0
HIGHEST_GAIN_DB = 60.0
"""Where the knob of the built-in player ends."""

_CHANNELS_AT_END = re.compile(r"^(?P<name>.+):(?P<channels>\d{1,9}(?:,\d{1,9})*)$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class DeviceReading:
    """One way to read a device spec."""

    name: str
    channels: tuple[int, ...] = ()
    """From 1, as on the interface, in the order wanted; empty for the device's first one or two."""

    @property
    def index(self) -> int | None:
        """The device's number in the list, when the name is a number."""
        return int(self.name) if self.name.isascii() and self.name.isdigit() and len(self.name) < 10 else None


@dataclass(frozen=True, slots=True)
class DeviceSpec:
    """``device:…``."""

    text: str
    """All that follows ``device:``."""

    @property
    def readings(self) -> tuple[DeviceReading, ...]:
        """The ways to read :attr:`text`, in the order in which to try them.

        Numbers after the last colon are channels first of all; ``hw:1,0`` may also be a name as it stands.
        """
        whole = DeviceReading(self.text)
        match = _CHANNELS_AT_END.match(self.text)
        if match is None:
            return (whole,)
        channels = tuple(int(number) for number in match["channels"].split(","))
        return (DeviceReading(match["name"], channels), whole)

    def __str__(self) -> str:
        return f"device:{self.text}"


@dataclass(frozen=True, slots=True)
class FileSpec:
    """``file:PATH``."""

    path: Path

    def __str__(self) -> str:
        return f"file:{self.path}"


@dataclass(frozen=True, slots=True)
class PlayerSpec:
    """``player[:PART[:GAIN_DB]]``."""

    part: str = ""
    """Empty for the part that the player starts with."""
    gain_db: float = 0.0

    def __str__(self) -> str:
        if self.gain_db:
            return f"player:{self.part}:{self.gain_db:g}"
        return f"player:{self.part}" if self.part else "player"


InputSpec: TypeAlias = DeviceSpec | FileSpec | PlayerSpec


def parse_spec(text: str) -> InputSpec:
    """Read the line that names an input.

    Raises
    ------
    app.errors.UsageError
        With a sentence that says what is wrong with it.
    """
    kind, colon, rest = text.strip().partition(":")
    match kind.lower():
        case "device":
            return _device(rest.strip())
        case "file":
            if not rest:
                raise UsageError(words.nothing_after("file"))
            return FileSpec(Path(rest))
        case "player":
            return _player(rest) if colon else PlayerSpec()
    if _is_file(text):
        raise UsageError(words.bare_path(text))
    raise UsageError(words.unknown_kind(text))


def open_spec(spec: InputSpec | str, *, paced: bool = True) -> Source:
    """Make the source that a spec names; :meth:`~app.inputs.source.Source.start` then opens it.

    Parameters
    ----------
    spec
        The line, or what :func:`parse_spec` made of it.
    paced
        False lets a file or the player come as fast as they can be read; a device goes by the clock.

    Raises
    ------
    app.errors.UsageError
        When the line cannot be read, or names a part that the player does not have.
    """
    if isinstance(spec, str):
        spec = parse_spec(spec)
    # Late imports: a file needs no player, a player no device, and each brings its own weight.
    if isinstance(spec, DeviceSpec):
        from app.inputs.device import DeviceSource
        from app.inputs.lastrun import remember
        from app.inputs.returning import ReturningSource

        return ReturningSource(DeviceSource(spec), on_close=remember)
    if isinstance(spec, FileSpec):
        from app.inputs.files import FileSource

        return FileSource(_at_home(spec.path), paced=paced)
    from app.inputs.player import PlayerSource

    if not spec.part:
        return PlayerSource(gain_db=spec.gain_db, paced=paced)
    return PlayerSource(spec.part, spec.gain_db, paced=paced)


def _device(rest: str) -> DeviceSpec:
    if not rest:
        raise UsageError(words.nothing_after("device"))
    spec = DeviceSpec(rest)
    channels = spec.readings[0].channels
    # "hw:0,0" is a name on some systems, so a channel 0 is only wrong where no device has such a name.
    if len(channels) > MOST_CHANNELS:
        raise UsageError(words.too_many_channels_chosen(len(channels), MOST_CHANNELS))
    return spec


def _player(rest: str) -> PlayerSpec:
    part, colon, gain = rest.partition(":")
    if not colon or not gain.strip():
        return PlayerSpec(part.strip())
    try:
        gain_db = float(gain.replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        raise UsageError(words.gain_is_no_number(gain)) from None
    if math.isnan(gain_db):
        raise UsageError(words.gain_is_no_number(gain))
    if not LOWEST_GAIN_DB <= gain_db <= HIGHEST_GAIN_DB:
        raise UsageError(words.gain_out_of_range(gain_db, LOWEST_GAIN_DB, HIGHEST_GAIN_DB))
    return PlayerSpec(part.strip(), gain_db)


def _at_home(path: Path) -> Path:
    """``~/take.wav`` as a shell reads it; shells leave it alone behind a colon."""
    try:
        return path if path.exists() else path.expanduser()
    except (OSError, RuntimeError, ValueError):  # opening it will say what is wrong
        return path


def _is_file(text: str) -> bool:
    try:
        return Path(text).is_file()
    except (OSError, ValueError):  # too long for a path, or a null character in it
        return False
