"""Swellmark: a desktop coach for recording levels."""

import logging

__version__ = "0.1.0"

# What goes wrong is told in sentences. The technical log is for whoever asks for it; see app.cli.main.
logging.getLogger(__name__).addHandler(logging.NullHandler())
