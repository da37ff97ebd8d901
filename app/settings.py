"""What is remembered between runs, in one place: where files live, and a few short texts by name."""

from __future__ import annotations

import json
import logging
import os
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

import platformdirs

_NAME = "swellmark"
_log = logging.getLogger(__name__)


def data_folder() -> Path:
    """Where the take log lives; made when it is missing, readable by the user alone."""
    return _own_folder(platformdirs.user_data_path(_NAME, appauthor=False))


def config_folder() -> Path:
    """Where settings and the user's own part profiles live."""
    return _own_folder(platformdirs.user_config_path(_NAME, appauthor=False))


def state_folder() -> Path:
    """Where a program remembers what happened in its last run."""
    return _own_folder(platformdirs.user_state_path(_NAME, appauthor=False))


def cache_folder() -> Path:
    """Where measurements are kept that can be made again; it need not exist."""
    return platformdirs.user_cache_path(_NAME, appauthor=False)


def own_parts_file() -> Path:
    """Where users describe parts of their own; it need not exist."""
    return config_folder() / "parts.toml"


class Memory:
    """Short texts by name, kept in a JSON file that is replaced whole at every change.

    Neither call raises: what cannot be read is as good as never remembered, and what cannot be written is
    remembered until the program ends. Safe to use from any thread.

    Parameters
    ----------
    path
        The file; the user's own when None.
    """

    def __init__(self, path: Path | None = None) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._values: dict[str, str] | None = None

    def get(self, name: str) -> str | None:
        """What was put last, or None."""
        with self._lock:
            return self._known().get(name)

    def put(self, name: str, value: str) -> None:
        """Remember."""
        with self._lock:
            values = self._known()
            if values.get(name) == value:
                return
            values[name] = value
            try:
                _replace(self._file(), json.dumps(values, indent=1, ensure_ascii=False, sort_keys=True))
            except OSError as error:
                _log.warning("settings could not be written: %s", error)

    def _file(self) -> Path:
        return self._path or config_folder() / "settings.json"

    def _known(self) -> dict[str, str]:
        if self._values is None:
            self._values = _read(self._file)
        return self._values


def _read(file: Callable[[], Path]) -> dict[str, str]:
    try:
        found = json.loads(file().read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, RecursionError) as error:  # nested a thousand times
        _log.warning("settings could not be read: %s", error)
        return {}
    if not isinstance(found, dict):
        return {}
    return {name: value for name, value in found.items() if isinstance(value, str)}


def _replace(path: Path, text: str) -> None:
    """Write a file whole or not at all; mkstemp makes it readable by the user alone."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _own_folder(folder: Path) -> Path:
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder
