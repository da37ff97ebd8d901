"""Whole files through the same chain and the same coach as live audio."""

from app.check.measure import ChannelCheck, FileCheck, check_file

__all__ = ["ChannelCheck", "FileCheck", "check_file"]
