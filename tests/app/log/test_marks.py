"""Cue points in a copy of a recording: read back by readers that are not ours, and nothing else changed."""

from __future__ import annotations

import re
import struct
import wave

import numpy as np
import pytest
import soundfile as sf

from app.errors import SoundFileError, UsageError
from app.log.marks import Mark, marked_copy

RATE_HZ = 48_000


@pytest.fixture
def sound(tmp_path):
    path = tmp_path / "take.wav"
    samples = np.sin(np.arange(RATE_HZ) * 0.05).astype(np.float32) * 0.5
    sf.write(path, np.column_stack((samples, -samples)), RATE_HZ, subtype="PCM_24")
    return path


def chunks(path):
    """Every chunk, read after the RIFF rules: size in little-endian, content padded to even."""
    content = path.read_bytes()
    assert struct.unpack("<I", content[4:8])[0] == len(content) - 8
    position, found = 12, []
    while position < len(content):
        kind, size = struct.unpack("<4sI", content[position : position + 8])
        found.append((kind, content[position + 8 : position + 8 + size]))
        position += 8 + size + size % 2
    assert position == len(content)
    return found


def cue_points(path):
    """Frame and label of each cue point."""
    found = dict(chunks(path))
    cues = found[b"cue "]
    (count,) = struct.unpack("<I", cues[:4])
    points = [struct.unpack("<II4sIII", cues[4 + 24 * i : 28 + 24 * i]) for i in range(count)]
    assert len(cues) == 4 + 24 * count
    assert len({point[0] for point in points}) == count
    assert all(point[2:5] == (b"data", 0, 0) and point[1] == point[5] for point in points)
    labels, position, adtl = {}, 4, found[b"LIST"]
    assert adtl[:4] == b"adtl"
    while position < len(adtl):
        kind, size, name = struct.unpack("<4sII", adtl[position : position + 12])
        assert kind == b"labl"
        text = adtl[position + 12 : position + 8 + size]
        assert text.endswith(b"\0")
        labels[name] = text[:-1].decode()
        position += 8 + size + size % 2
    return [(point[1], labels[point[0]]) for point in points]


def test_marks_are_where_the_events_were(sound, tmp_path):
    copy = tmp_path / "copy.wav"
    marks = [Mark(0.1, "clip"), Mark(0.25, "odd"), Mark(0.99, "clip, peak 0.0 dBFS")]
    assert marked_copy(sound, copy, marks) == 3
    assert cue_points(copy) == [(4_800, "clip"), (12_000, "odd"), (47_520, "clip, peak 0.0 dBFS")]


def test_other_readers_see_the_marks_and_the_same_samples(sound, tmp_path):
    copy = tmp_path / "copy.wav"
    marked_copy(sound, copy, [Mark(0.1, "first"), Mark(0.2, "second")])
    log = sf.info(copy).extra_info
    points = re.findall(r"Cue ID : +(\d+) +Pos : +(\d+) +Chunk : data .* Offset : +(\d+)", log)
    assert points == [("1", "4800", "4800"), ("2", "9600", "9600")]
    assert re.findall(r"labl : (\d+) : (\w+)", log) == [("1", "first"), ("2", "second")]
    before, _ = sf.read(sound, dtype="int32")
    after, _ = sf.read(copy, dtype="int32")
    assert np.array_equal(before, after)
    with wave.open(str(sound)) as one, wave.open(str(copy)) as other:
        assert one.getparams() == other.getparams()


def test_everything_else_is_copied_as_it_is(sound, tmp_path):
    copy = tmp_path / "copy.wav"
    marked_copy(sound, copy, [Mark(0.5, "x")])
    assert chunks(copy)[: len(chunks(sound))] == chunks(sound)


def test_marks_that_were_there_stay(sound, tmp_path):
    once, twice = tmp_path / "once.wav", tmp_path / "twice.wav"
    marked_copy(sound, once, [Mark(0.1, "odd"), Mark(0.2, "even")])
    marked_copy(once, twice, [Mark(0.3, "new")])
    assert cue_points(twice) == [(4_800, "odd"), (9_600, "even"), (14_400, "new")]


def test_marks_outside_the_file_are_left_out_and_counted(sound, tmp_path):
    copy = tmp_path / "copy.wav"
    assert marked_copy(sound, copy, [Mark(-0.1, "x"), Mark(0.5, "y"), Mark(1.0, "z")]) == 1
    assert cue_points(copy) == [(24_000, "y")]


def test_a_copy_without_marks_is_the_same_file(sound, tmp_path):
    copy = tmp_path / "copy.wav"
    assert marked_copy(sound, copy, []) == 0
    assert copy.read_bytes() == sound.read_bytes()


def test_a_file_with_an_odd_number_of_bytes(tmp_path):
    sound, copy = tmp_path / "odd.wav", tmp_path / "copy.wav"
    sf.write(sound, np.zeros(1001), 8_000, subtype="PCM_U8")
    assert marked_copy(sound, copy, [Mark(0.1, "x")]) == 1
    assert cue_points(copy) == [(800, "x")]
    assert sf.info(copy).frames == 1001


@pytest.mark.parametrize("kind", ["FLAC", "RF64", "AIFF"])
def test_what_is_no_plain_wav_is_refused(tmp_path, kind):
    sound = tmp_path / "sound.xxx"
    sf.write(sound, np.zeros(100), 8_000, format=kind)
    with pytest.raises(SoundFileError, match="plain WAV"):
        marked_copy(sound, tmp_path / "copy.wav", [Mark(0.0, "x")])
    assert [file.name for file in tmp_path.iterdir()] == ["sound.xxx"]


@pytest.mark.parametrize("content", [b"", b"RIFF", b"RIFF\x04\0\0\0WAVE", b"RIFF\x0c\0\0\0WAVEdata\0\0\0\0"])
def test_a_file_without_sound_is_refused(tmp_path, content):
    sound = tmp_path / "sound.wav"
    sound.write_bytes(content)
    with pytest.raises(SoundFileError, match="plain WAV"):
        marked_copy(sound, tmp_path / "copy.wav", [])


def test_a_file_that_is_cut_off_is_refused(sound, tmp_path):
    sound.write_bytes(sound.read_bytes()[:-1000])
    with pytest.raises(SoundFileError, match="cut off"):
        marked_copy(sound, tmp_path / "copy.wav", [])


def test_the_recording_itself_is_never_written(sound, tmp_path):
    before = sound.read_bytes()
    with pytest.raises(UsageError, match="the recording itself"):
        marked_copy(sound, sound, [Mark(0.0, "x")])
    link = tmp_path / "link.wav"
    link.symlink_to(sound)
    with pytest.raises(UsageError, match="the recording itself"):
        marked_copy(sound, link, [Mark(0.0, "x")])
    assert sound.read_bytes() == before


def test_a_file_that_is_not_there_gives_a_sentence(tmp_path):
    with pytest.raises(SoundFileError, match="cannot be copied: No such file"):
        marked_copy(tmp_path / "none.wav", tmp_path / "copy.wav", [])
