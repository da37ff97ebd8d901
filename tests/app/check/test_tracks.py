import dataclasses
import os

import numpy as np
import pytest
import soundfile

from app.check.shelf import Shelf, fingerprint
from app.check.tracks import measure_track
from app.errors import SoundFileError

RATE_HZ = 16_000


def noise(seconds=4.0, channels=2, seed=1, rate_hz=RATE_HZ):
    return np.random.default_rng(seed).normal(0, 0.05, (round(seconds * rate_hz), channels))


@pytest.fixture
def song(tmp_path):
    path = tmp_path / "song.wav"
    soundfile.write(path, noise(), RATE_HZ, "PCM_24")
    return path


def same(one, other):
    return all(
        np.array_equal(getattr(one, each.name), getattr(other, each.name), equal_nan=True)
        for each in dataclasses.fields(one)
    )


@pytest.mark.parametrize("channels", [1, 2, 6])
@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 96_000])
def test_mono_stereo_and_surround_at_any_rate(tmp_path, channels, rate_hz):
    path = tmp_path / "sound.wav"
    soundfile.write(path, noise(3.2, channels, rate_hz=rate_hz), rate_hz, "PCM_16")
    found = measure_track(path)
    assert (found.format, found.rate_hz, found.track.channels) == ("WAV/PCM_16", rate_hz, channels)
    assert found.track.duration_s == pytest.approx(3.2)
    assert not found.track.silent


def test_progress_runs_up_to_one_and_may_cancel(song):
    shares = []
    measure_track(song, shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0

    def stop(share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        measure_track(song, stop)


def test_too_short_and_unreadable_files_are_named(tmp_path):
    short = tmp_path / "short.wav"
    soundfile.write(short, noise(2.9), RATE_HZ)
    with pytest.raises(SoundFileError, match=r"short\.wav: it lasts 2\.9 s; at least 3 s"):
        measure_track(short)
    broken = tmp_path / "broken.wav"
    broken.write_bytes(b"RIFF" + bytes(100))
    with pytest.raises(SoundFileError, match=r"broken\.wav"):
        measure_track(broken)
    with pytest.raises(SoundFileError, match="no such file"):
        measure_track(tmp_path / "missing.wav")


def test_the_second_time_is_remembered_wherever_the_file_lies(song, tmp_path):
    shelf = Shelf(tmp_path / "shelf")
    first = measure_track(song, shelf=shelf)
    moved = song.rename(tmp_path / "other name.wav")
    shares = []
    second = measure_track(moved, shares.append, shelf)
    assert shares == [1.0], "nothing was measured"
    assert same(first.track, second.track)
    assert second.path == moved


def test_other_content_is_measured_anew(song, tmp_path):
    shelf = Shelf(tmp_path / "shelf")
    before = measure_track(song, shelf=shelf)
    soundfile.write(song, 0.5 * noise(), RATE_HZ, "PCM_24")
    assert not same(before.track, measure_track(song, shelf=shelf).track)


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04", b"nonsense" * 100])
def test_a_damaged_memory_is_measured_again(song, tmp_path, damage):
    shelf = Shelf(tmp_path / "shelf")
    good = measure_track(song, shelf=shelf)
    (kept,) = (tmp_path / "shelf").iterdir()
    whole = kept.read_bytes()
    middle = len(whole) // 2
    for content in (
        damage,
        whole[:middle],
        *(whole[:at] + bytes(200) + whole[at + 200 :] for at in (100, middle)),
    ):
        kept.write_bytes(content)
        assert same(measure_track(song, shelf=shelf).track, good.track)


def test_a_folder_that_cannot_be_written_costs_only_the_memory(song, tmp_path):
    (tmp_path / "file").write_text("in the way")
    shelf = Shelf(tmp_path / "file")
    assert not measure_track(song, shelf=shelf).track.silent
    assert shelf.find("anything") is None


def test_the_longest_unused_is_thrown_out_first(song, tmp_path):
    folder = tmp_path / "shelf"
    track = measure_track(song).track
    Shelf(folder).keep("probe", track)
    size = (folder / "probe.track1").stat().st_size
    (folder / "probe.track1").unlink()
    shelf = Shelf(folder, most_bytes=3 * size + 10)
    for age, name in enumerate(("a", "b", "c")):
        shelf.keep(name, track)
        os.utime(folder / f"{name}.track1", (1000 + age, 1000 + age))
    assert shelf.find("a") is not None, "and used just now"
    shelf.keep("d", track)
    assert shelf.find("b") is None
    assert all(shelf.find(name) is not None for name in ("a", "c", "d"))
    assert not [path for path in folder.iterdir() if path.suffix == ".part"]


def test_a_fingerprint_is_that_of_the_content(tmp_path):
    one, two = tmp_path / "one", tmp_path / "two"
    one.write_bytes(b"abc")
    two.write_bytes(b"abc")
    assert fingerprint(one) == fingerprint(two)
    two.write_bytes(b"abd")
    assert fingerprint(one) != fingerprint(two)
