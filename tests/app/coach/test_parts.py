import pytest

from app.coach.parts import find_part, load_parts, shipped_parts
from app.errors import SettingsError, UsageError

OWN = """
[hurdy_gurdy]
name = "Hurdy-gurdy"
rules = "average"
crest_db = 9.0
growth_db = 2
growth_sd_db = 1.0
"""


def test_every_part_that_the_design_names_is_there():
    keys = "voice spoken_word bass guitar acoustic_guitar strings winds_brass keys drums other"
    assert list(shipped_parts()) == keys.split()
    assert all(part.hints and part.name for part in shipped_parts().values())


def test_drums_are_judged_by_peaks_and_the_rest_by_the_average():
    assert [part.key for part in shipped_parts().values() if part.rules == "peaks"] == ["drums"]


@pytest.mark.parametrize("name", ["bass", "BASS", "Bass by cable", "  bass BY cable ", "Bass-by-Cable"])
def test_a_part_is_found_by_key_or_name_whatever_the_case(name):
    assert find_part(name).key == "bass"


def test_a_unique_beginning_is_enough():
    assert find_part("acou").key == "acoustic_guitar"


@pytest.mark.parametrize("name", ["triangle", "", "s"])
def test_an_unknown_or_ambiguous_part_is_answered_with_the_list(name):
    with pytest.raises(UsageError, match=r"no part called “.*”\. Parts: Voice, Spoken word, .*, Other\."):
        find_part(name)


def test_the_users_file_adds_and_replaces(tmp_path):
    file = tmp_path / "parts.toml"
    file.write_text(OWN + OWN.replace("hurdy_gurdy", "bass").replace("Hurdy-gurdy", "Upright bass"), "utf-8")
    parts = load_parts(file)
    assert parts["hurdy_gurdy"].growth_db == 2.0
    assert find_part("bass", parts).name == "Upright bass"
    assert list(parts)[:3] == ["voice", "spoken_word", "bass"]


def test_a_missing_file_adds_nothing(tmp_path):
    assert load_parts(tmp_path / "parts.toml") == shipped_parts()


@pytest.mark.parametrize(
    ("old", "new", "cause"),
    [
        ("[hurdy_gurdy]", "[hurdy_gurdy", "not a valid TOML file"),
        ("[hurdy_gurdy]", "loose = 3\n[hurdy_gurdy]", "“loose” should be a part"),
        ('rules = "average"', 'rules = "ears"', r"“rules” of part \[hurdy_gurdy\] .* “average” or “peaks”"),
        ('rules = "average"', "", r"part \[hurdy_gurdy\] lacks “rules”"),
        ("growth_db = 2", "growth_db = 200", "“growth_db” .* a number of decibels from 0 to 12"),
        ("growth_db = 2", "growth_db = true", "“growth_db” .* a number of decibels from 0 to 12"),
        ("growth_db = 2", "growth_db = nan", "“growth_db” .* a number of decibels from 0 to 12"),
        ("growth_db = 2", 'growth_db = "2"', "“growth_db” .* a number of decibels from 0 to 12"),
        ('name = "Hurdy-gurdy"', "name = 3", "“name” .* a text"),
        ("growth_db = 2", 'growth_db = 2\nhints = "one"', "“hints” .* a list of texts"),
        ("growth_db = 2", "growth_db = 2\ngrowht_sd_db = 2", "“growht_sd_db”, which means nothing here"),
    ],
)  # fmt: skip
def test_a_wrong_file_is_answered_with_file_entry_and_cause(tmp_path, old, new, cause):
    file = tmp_path / "own.toml"
    file.write_text(OWN.replace(old, new), "utf-8")
    with pytest.raises(SettingsError, match=rf"own\.toml.*{cause}") as caught:
        load_parts(file)
    assert "\n" not in caught.value.sentence


def test_a_file_that_is_no_text_is_answered_in_a_sentence(tmp_path):
    file = tmp_path / "own.toml"
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="cannot be read"):
        load_parts(file)
