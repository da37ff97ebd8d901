"""Texts of ``swellmark completion``."""

from __future__ import annotations

from app.words._catalogue import _


def completion_help() -> str:
    """``swellmark completion --help``."""
    return _(
        "Print what the shell needs to complete the command line. For bash, put into ~/.bashrc: "
        'eval "$(swellmark completion bash)"'
    )
