"""The second language, and the numbers in it."""

import importlib.util
import string
from pathlib import Path

import pytest

from app.words import _catalogue, advice, numbers, parts
from app.words.language import speak, spoken

ASSETS = Path(__file__).parents[3] / "assets"


@pytest.fixture
def speaking():
    yield speak
    speak(())


@pytest.fixture(scope="module")
def catalogue_command():
    pytest.importorskip("babel")
    file = ASSETS / "catalogue.py"
    spec = importlib.util.spec_from_file_location("catalogue_command", file)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("variables", "expected"),
    [
        ({"LANGUAGE": "", "LANG": "de_AT.UTF-8"}, "de"),
        ({"LANGUAGE": "en_GB:de"}, None),
        ({"LANGUAGE": "xx:de:en"}, "de"),
        ({"LANGUAGE": "", "LC_ALL": "C", "LANG": "de_DE"}, None),
        ({"LANGUAGE": "", "LC_ALL": "xx_XX"}, None),
    ],
)
def test_the_environment_chooses_and_english_ends_the_search(monkeypatch, speaking, variables, expected):
    for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    _catalogue._translation.cache_clear()
    assert spoken() == expected


def test_german_says_its_numbers_with_a_comma(speaking):
    speaking(["de-CH", "en"])
    assert numbers.decibels(-14.25, 2) == "−14,25"
    assert numbers.clock(64.2, 1) == "1:04,2"
    assert numbers.plain(44.1) == "44,1"
    assert parts.part_name("Voice") == "Gesang"
    assert parts.part_name("My own part") == "My own part"
    assert parts.part_name("") == ""
    assert advice.advice_sentence("average_low", 11).endswith("11 dB aufdrehen")


def test_every_text_is_translated_and_compiled(catalogue_command):
    texts = catalogue_command.collect()
    for language in catalogue_command.languages():
        translated = catalogue_command.read(language)
        wanted = {(message.id, message.context) for message in texts if message.id}
        have = {(message.id, message.context) for message in translated if message.id}
        assert wanted - have == set(), "run assets/catalogue.py"
        assert have - wanted == set(), "run assets/catalogue.py"
        assert catalogue_command.untranslated(translated) == []
        compiled = catalogue_command.po_file(language).with_suffix(".mo").read_bytes()
        assert compiled == catalogue_command.compiled(translated), "run assets/catalogue.py"


def test_translations_keep_the_places_for_values(catalogue_command):
    for language in catalogue_command.languages():
        for message in catalogue_command.read(language):
            if not message.id:
                continue
            originals = [message.id] if isinstance(message.id, str) else list(message.id)
            strings = [message.string] if isinstance(message.string, str) else list(message.string)
            allowed = set.union(*map(_places, originals))
            for translation in strings:
                assert _places(translation) <= allowed, message.id
            # A form for one may leave the number out; the form for many may not.
            assert _places(strings[-1]) == _places(originals[-1]), message.id


def _places(text):
    return {name for _text, name, _spec, _conversion in string.Formatter().parse(text) if name is not None}
