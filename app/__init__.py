"""Swellmark: a desktop coach for recording levels."""

__version__ = "0.1.0"
