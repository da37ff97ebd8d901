"""Which language the texts are in."""

from __future__ import annotations

from app.words._catalogue import asks_for_a_language, speak, spoken

__all__ = ["asks_for_a_language", "speak", "spoken"]
