"""The tree of exceptions. Each carries one sentence for the user and keeps the technical detail.

::

    SwellmarkError
    ├── UsageError            what was asked for makes no sense
    ├── InputError            an input cannot be opened, or went away
    │   ├── DeviceError       PortAudio said no
    │   │   └── SilentSystemError  and this: it said nothing at all, in time
    │   └── SoundFileError    a file cannot be read as sound
    ├── LogError              the take log cannot be read or written
    └── SettingsError         a settings or profile file is wrong

The command line prints the sentence and exits with 2; the window shows it.
"""

from __future__ import annotations


class SwellmarkError(Exception):
    """The root: ``str()`` is one sentence for the user.

    Parameters
    ----------
    sentence
        What happened and what to do, from :mod:`app.words`.
    detail
        What the library said, for whoever helps.
    """

    def __init__(self, sentence: str, detail: str = "") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.detail = detail


class UsageError(SwellmarkError):
    """What was asked for makes no sense."""


class InputError(SwellmarkError):
    """An input cannot be opened, or went away."""


class DeviceError(InputError):
    """PortAudio refused, or there is no PortAudio."""


class SilentSystemError(DeviceError):
    """PortAudio did not answer in time, and may never do so again."""


class SoundFileError(InputError):
    """A file cannot be read as sound."""


class LogError(SwellmarkError):
    """The take log cannot be read or written."""


class SettingsError(SwellmarkError):
    """A settings or profile file is wrong."""
