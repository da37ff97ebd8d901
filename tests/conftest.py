"""What every test shares."""

from __future__ import annotations

import os

# Before Qt is imported anywhere: tests open no window unless they ask for a screen themselves.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

# The tests read English, whatever the machine speaks.
os.environ["LANGUAGE"] = "en"

# As the program does, before numpy is imported: threads waiting for each other cost more than they save.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
