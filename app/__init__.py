"""Swellmark: a desktop coach for recording levels."""

import logging
import os

__version__ = "0.1.0"

# What goes wrong is told in sentences. The technical log is for whoever asks for it; see app.cli.main.
logging.getLogger(__name__).addHandler(logging.NullHandler())

# Before numpy is imported. Every product here is small, and threads of our own share the work out: threads
# inside the linear algebra would only spin on the cores that the sound and the window need.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
