"""The page for whoever helps: what a person reads, what a program reads, and what is not in it."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from app.errors import LogError, UsageError
from app.log.document import levels_document, take_document
from app.log.parcel import parcel_text, read_parcel, write_parcel


def _examples():
    """The takes and the hostile names of the tests of exports."""
    spec = importlib.util.spec_from_file_location("exports", Path(__file__).with_name("test_export.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules.setdefault("exports", module)
    spec.loader.exec_module(module)
    return module


examples = _examples()
TAKE, named, Page = examples.TAKE, examples.named, examples.Page


@pytest.mark.parametrize("name", examples.HOSTILE)
def test_a_program_reads_back_what_was_sent(name):
    take = named(name)
    text = parcel_text([take], letter=name, home=Path("/home/somebody"))
    found = read_parcel(text)["takes"]
    assert found == [{**take_document(take), "levels": levels_document(take.trace)}]


@pytest.mark.parametrize("name", examples.HOSTILE)
def test_hostile_names_stay_text(name):
    page = Page(parcel_text([named(name)], letter=name))
    if name:
        assert page.own[0] == name
        assert f"Take 3: {name}" in page.own
    scripts = [attributes for tag, attributes in page.elements if tag == "script"]
    assert scripts == [{"type": "application/json", "id": "swellmark-takes"}]
    for tag, attributes in page.elements:
        assert not [key for key in attributes if key.startswith("on") or key in ("src", "href")], tag


def test_no_private_path_is_in_it():
    home = Path("/home/anna")
    row = replace(
        TAKE.row,
        name="/home/anna/takes/one",
        notes="see /home/anna/diary.txt",
        input_name="/home/anna/in.wav",
    )
    text = parcel_text([replace(TAKE, row=row)], letter="it lies in /home/anna/takes", home=home)
    assert "anna" not in text
    assert "see ~/diary.txt" in text


def test_it_fetches_nothing_and_runs_nothing():
    text = parcel_text([TAKE])
    assert "default-src 'none'" in text
    for outside in ("http:", "https:", "url(", "javascript:"):
        assert outside not in text


def test_a_page_without_takes_for_a_program():
    assert read_parcel("<!DOCTYPE html><p>Hello</p>") is None


def test_writing_it(tmp_path):
    write_parcel([TAKE], tmp_path / "for you.html")
    assert read_parcel((tmp_path / "for you.html").read_text("utf-8"))["takes"][0]["take"] == 3
    with pytest.raises(UsageError, match=r"must end in \.html"):
        write_parcel([TAKE], tmp_path / "for you.zip")
    with pytest.raises(LogError, match="cannot be written"):
        write_parcel([TAKE], tmp_path / "nowhere" / "a.html")
    assert [file.name for file in tmp_path.iterdir()] == ["for you.html"]
