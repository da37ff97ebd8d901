"""What is remembered survives; what is damaged is as good as never remembered."""

import json
import os
import stat

import pytest

from app.settings import Memory, config_folder, data_folder


@pytest.fixture
def file(tmp_path):
    return tmp_path / "settings.json"


def test_what_was_put_is_there_for_the_next_run(file):
    Memory(file).put("input", "player:bass")
    assert Memory(file).get("input") == "player:bass"
    assert Memory(file).get("part") is None


@pytest.mark.parametrize("damage", ["", "{", "[1, 2]", '"text"', "\x00\xff"])
def test_a_damaged_file_is_forgotten_and_written_anew(file, damage):
    file.write_text(damage, encoding="latin-1")
    memory = Memory(file)
    assert memory.get("input") is None
    memory.put("input", "player")
    assert json.loads(file.read_text()) == {"input": "player"}


def test_values_that_are_no_text_are_left_out(file):
    file.write_text('{"input": 3, "part": "bass"}')
    assert Memory(file).get("input") is None
    assert Memory(file).get("part") == "bass"


def test_a_folder_that_cannot_be_written_still_remembers_until_the_end(tmp_path):
    memory = Memory(tmp_path / "missing" / "settings.json")
    memory.put("theme", "dark")
    assert memory.get("theme") == "dark"


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps access rights elsewhere")
def test_only_the_user_can_read_it(file, tmp_path, monkeypatch):
    Memory(file).put("input", "player")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("HOME", str(tmp_path))
    for folder in (data_folder(), config_folder()):
        assert folder.is_relative_to(tmp_path)
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
