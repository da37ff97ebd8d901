"""What is remembered between runs, in one place."""

from __future__ import annotations

from pathlib import Path

import platformdirs

_NAME = "swellmark"


def data_folder() -> Path:
    """Where the take log lives; made when it is missing, readable by the user alone."""
    folder = platformdirs.user_data_path(_NAME, appauthor=False)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def config_folder() -> Path:
    """Where settings and the user's own part profiles live."""
    folder = platformdirs.user_config_path(_NAME, appauthor=False)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def own_parts_file() -> Path:
    """Where users describe parts of their own; it need not exist."""
    return config_folder() / "parts.toml"
