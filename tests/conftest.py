"""What every test shares."""

from __future__ import annotations

import os

# Before Qt is imported anywhere: tests open no window unless they ask for a screen themselves.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
