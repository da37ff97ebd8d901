"""The command line: maps commands to the rest of the program."""

from app.cli.main import main

__all__ = ["main"]
