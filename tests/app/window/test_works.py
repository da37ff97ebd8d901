"""Whose work the program stands on."""

from __future__ import annotations

from importlib.metadata import distribution
from pathlib import Path
from typing import Any

from app.window.about import About
from app.window.theme import Theme
from app.window.works import Work, work, works
from app.words import about as words


def test_every_package_that_is_needed_is_listed_with_its_version() -> None:
    found = {one.name.lower().replace("_", "-"): one for one in works()}
    assert {"numpy", "pyside6-essentials", "sounddevice"} <= set(found)
    assert "pytest" not in found, "extras come with nobody's copy"
    assert found["numpy"].version == distribution("numpy").version
    assert found["numpy"].licence


def test_what_is_not_there_is_not_made_up(tmp_path: Path, monkeypatch: Any) -> None:
    assert work("no-such-package-anywhere") == Work("no-such-package-anywhere", None, None)
    assert works("no-such-package-anywhere") == []
    folder = tmp_path / "silent-1.0.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text("Metadata-Version: 2.1\nName: silent\nVersion: 1.0\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    assert work("silent") == Work("silent", "1.0", None)


def test_a_licence_of_a_page_is_no_name_of_a_licence(tmp_path: Path, monkeypatch: Any) -> None:
    folder = tmp_path / "wordy-1.0.dist-info"
    folder.mkdir()
    text = "Permission is hereby granted, free of charge, to any person obtaining a copy of this software"
    (folder / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: wordy\nVersion: 1.0\nLicense: {text}\n"
        "Classifier: License :: OSI Approved :: MIT License\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    assert work("wordy").licence == "MIT License"


def test_the_page_says_what_is_not_known(qtbot: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr(
        "app.window.about.works", lambda: [Work("silent", "1.0", None), Work("gone", None, None)]
    )
    page = About(Theme())
    qtbot.addWidget(page)
    lines = page.text.toPlainText().split("\n")
    start = lines.index("silent")
    assert lines[start : start + 6] == [
        "silent",
        "1.0",
        words.licence_unknown(),
        "gone",
        words.not_installed(),
        words.licence_unknown(),
    ]
