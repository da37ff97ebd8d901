"""Notes that are kept."""

from __future__ import annotations

import numpy as np
import pytest

from app.inputs.synth.store import NoteStore


def _frames(count: int) -> np.ndarray:
    return np.zeros(count, np.float32)


def test_a_note_is_made_once() -> None:
    store, made = NoteStore(100), []
    for _ in range(3):
        store.get("a", lambda: made.append(1) or _frames(10))
    assert made == [1]
    assert store.held_frames == 10


def test_the_note_used_longest_ago_is_dropped_first() -> None:
    store = NoteStore(30)
    for key in ("a", "b", "c"):
        store.get(key, lambda: _frames(10))
    store.get("a", lambda: pytest.fail("a is still kept"))
    store.get("d", lambda: _frames(10))
    assert store.held_frames == 30
    store.get("a", lambda: pytest.fail("a was used just now"))
    made = []
    store.get("b", lambda: made.append("b") or _frames(10))
    assert made == ["b"]


def test_a_note_larger_than_the_store_is_kept_alone() -> None:
    store = NoteStore(30)
    store.get("small", lambda: _frames(10))
    store.get("large", lambda: _frames(50))
    assert store.held_frames == 50


def test_nobody_can_change_a_kept_note() -> None:
    note = NoteStore(30).get("a", lambda: _frames(10))
    with pytest.raises(ValueError, match="read-only"):
        note[0] = 1.0
