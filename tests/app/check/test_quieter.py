import os
import subprocess
import sys
import time

import numpy as np
import pytest
import soundfile

from app.check import draft, quieter
from app.check.draft import Draft
from app.check.quieter import Quieter, write_quieter
from app.errors import SoundFileError, SwellmarkError

RATE_HZ = 44_100


def sound(frames=30_000, channels=2):
    t_s = np.arange(frames) / RATE_HZ
    return np.stack([0.5 * np.sin(2 * np.pi * (441 + 100 * channel) * t_s) for channel in range(channels)], 1)


def make(path, subtype, wave=None, **kind):
    soundfile.write(path, sound() if wave is None else wave, RATE_HZ, subtype, **kind)
    return path


def names(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize(
    ("name", "subtype", "step"),
    [
        ("a.wav", "PCM_U8", 2**-7),
        ("a.wav", "PCM_16", 2**-15),
        ("a.wav", "PCM_24", 2**-23),
        ("a.wav", "PCM_32", 2**-31),
        ("a.flac", "PCM_16", 2**-15),
        ("a.flac", "PCM_24", 2**-23),
        ("a.aiff", "PCM_16", 2**-15),
        ("a.caf", "ALAC_16", 2**-15),
        ("a.wav", "FLOAT", 0.0),
        ("a.wav", "DOUBLE", 0.0),
    ],
)
def test_same_format_and_rate_with_dither_where_steps_are_coarse(tmp_path, name, subtype, step):
    path = make(tmp_path / name, subtype)
    (copy,) = write_quieter([Quieter(path, 12)])
    before, after = soundfile.info(path), soundfile.info(copy)
    for figure in ("format", "subtype", "endian", "samplerate", "channels", "frames"):
        assert getattr(after, figure) == getattr(before, figure)
    wanted = soundfile.read(path, dtype="float64")[0] * 10 ** (-12 / 20)
    error = soundfile.read(copy, dtype="float64")[0] - wanted
    assert np.abs(error).max() <= 1.5 * step + 1e-7 * (step == 0.0)
    if step > 2**-25:
        # Triangular dither of ±1 step: rounding and dither together have a variance of a quarter step squared
        # (1/12 + 1/6), wherever the sound is.
        assert np.mean(error**2) == pytest.approx(step**2 / 4, rel=0.05)
        loud = np.abs(wanted) > 0.1
        assert np.mean(error[loud] ** 2) == pytest.approx(np.mean(error[~loud] ** 2), rel=0.1)
        assert abs(np.mean(error)) < 0.02 * step
        assert abs(np.mean(error * wanted)) < 0.02 * step * np.std(wanted)


def test_steps_far_below_the_last_one_survive_as_sound(tmp_path):
    """A tone of a third of a step would vanish by rounding; dither carries it."""
    t_s = np.arange(10 * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 1000 * t_s)
    path = make(tmp_path / "a.wav", "PCM_16", np.rint(30 * tone) / 2**15)
    (copy,) = write_quieter([Quieter(path, 39)])
    kept = 2 * np.mean(soundfile.read(copy)[0] * tone) * 2**15
    assert kept == pytest.approx(30 * 10 ** (-39 / 20), abs=0.03)


@pytest.mark.parametrize(
    ("name", "subtype"), [("a.ogg", "VORBIS"), ("a.mp3", "MPEG_LAYER_III"), ("a.wav", "ULAW")]
)
def test_lossy_formats_stay_what_they_are(tmp_path, name, subtype):
    path = make(tmp_path / name, subtype)
    (copy,) = write_quieter([Quieter(path, 6)])
    assert soundfile.info(copy).subtype == subtype
    before, after = (np.sqrt(np.mean(soundfile.read(each)[0][5000:20_000] ** 2)) for each in (path, copy))
    assert 20 * np.log10(after / before) == pytest.approx(-6.0, abs=0.3)


def test_names_tell_the_amount_and_nothing_is_ever_replaced(tmp_path):
    path = make(tmp_path / "song.wav", "PCM_16")
    content = path.read_bytes()
    copies = [write_quieter([Quieter(path, 12)])[0] for _ in range(3)]
    assert [copy.name for copy in copies] == ["song -12 dB.wav", "song -12 dB (2).wav", "song -12 dB (3).wav"]
    assert path.read_bytes() == content
    assert names(tmp_path) == sorted(["song.wav", *(copy.name for copy in copies)])


def test_nothing_to_pull_down_is_the_same_file_again(tmp_path):
    path = make(tmp_path / "song.wav", "PCM_16")
    (copy,) = write_quieter([Quieter(path, 0)], tmp_path / "new" / "folder")
    assert copy == tmp_path / "new" / "folder" / "song 0 dB.wav"
    assert copy.read_bytes() == path.read_bytes()


def test_stems_of_one_name_from_two_folders_both_get_a_place(tmp_path):
    paths = []
    for part in ("one", "two"):
        (tmp_path / part).mkdir()
        paths.append(make(tmp_path / part / "stem.wav", "PCM_16"))
    copies = write_quieter([Quieter(path, 3) for path in paths], tmp_path / "out")
    assert [copy.name for copy in copies] == ["stem -3 dB.wav", "stem -3 dB (2).wav"]


def test_without_hard_links_names_are_still_never_taken_over(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise OSError(1, "no hard links here")

    monkeypatch.setattr("os.link", refuse)
    path = make(tmp_path / "song.wav", "PCM_16")
    first, second = (write_quieter([Quieter(path, 12)])[0] for _ in range(2))
    assert [first.name, second.name] == ["song -12 dB.wav", "song -12 dB (2).wav"]
    assert soundfile.info(second).frames == soundfile.info(path).frames
    assert len(names(tmp_path)) == 3


def test_an_interruption_leaves_nothing_of_any_stem(tmp_path):
    paths = [make(tmp_path / f"{name}.wav", "PCM_16") for name in "abc"]

    def stop_in_the_last(share):
        if share > 0.7:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_quieter([Quieter(path, 9) for path in paths], progress=stop_in_the_last)
    assert names(tmp_path) == ["a.wav", "b.wav", "c.wav"]


def test_when_one_stem_cannot_get_its_name_none_does(tmp_path, monkeypatch):
    paths = [make(tmp_path / f"{name}.wav", "PCM_16") for name in "ab"]
    place = quieter._place

    def fail_second(part, wanted):
        if wanted.path.name == "b.wav":
            raise OSError(28, "No space left on device")
        return place(part, wanted)

    monkeypatch.setattr(quieter, "_place", fail_second)
    with pytest.raises(SwellmarkError, match="No space left"):
        write_quieter([Quieter(path, 9) for path in paths])
    assert names(tmp_path) == ["a.wav", "b.wav"]


def test_a_file_that_is_damaged_further_in_leaves_nothing(tmp_path):
    path = make(tmp_path / "song.flac", "PCM_16", np.random.default_rng(1).normal(0, 0.1, (400_000, 2)))
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2] + bytes(5000) + whole[len(whole) // 2 + 5000 :])
    with pytest.raises(SoundFileError, match=r"song\.flac"):
        write_quieter([Quieter(path, 9)])
    assert names(tmp_path) == ["song.flac"]


def test_clear_sentences(tmp_path):
    missing = Quieter(tmp_path / "missing.wav", 3)
    with pytest.raises(SoundFileError, match=r"missing\.wav: there is no such file"):
        write_quieter([missing])
    path = make(tmp_path / "song.wav", "PCM_16")
    with pytest.raises(SwellmarkError, match=r"no turned-down copy could be saved: .*Nothing was left"):
        write_quieter([Quieter(path, 3)], path / "not a folder")


@pytest.mark.skipif(sys.platform != "linux", reason="needs a device that is always full")
@pytest.mark.parametrize("nameless", [True, False])
def test_a_full_disk_is_noticed(tmp_path, monkeypatch, nameless):
    path = make(tmp_path / "song.wav", "PCM_16")
    folder = tmp_path / "full"
    folder.mkdir()
    if nameless:
        monkeypatch.setattr(draft, "_nameless", lambda _home: os.open("/dev/full", os.O_RDWR))
    else:
        (folder / "there").symlink_to("/dev/full")
        monkeypatch.setattr(draft, "_nameless", lambda _home: None)
        monkeypatch.setattr(draft, "_hidden", lambda _home: tmp_path / "fresh")
        opened = Draft.target.fget
        monkeypatch.setattr(Draft, "target", property(lambda self: opened(self) and str(folder / "there")))
    with pytest.raises(SwellmarkError, match="no turned-down copy"):
        write_quieter([Quieter(path, 3)], folder)
    assert names(folder) in ([], ["there"])
    assert not (tmp_path / "fresh").exists()


# What a kill leaves behind

_KILLED = """
import sys
from pathlib import Path
from app.check import draft
from app.check.quieter import Quieter, write_quieter
if sys.argv[2] == "hidden":
    draft._nameless = lambda _home: None

def tell(share):
    if share > 0.3:
        print("writing", flush=True)
        sys.stdin.read()

write_quieter([Quieter(Path(sys.argv[1]), 12)], progress=tell)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="files without a name are Linux's")
@pytest.mark.parametrize("way", ["nameless", "hidden"])
def test_a_killed_process_leaves_nothing_for_long(tmp_path, way):
    path = make(tmp_path / "song.wav", "PCM_16", np.zeros((300_000, 2)))
    child = subprocess.Popen(
        [sys.executable, "-c", _KILLED, path, way], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert child.stdout.readline() == "writing\n"
    child.kill()
    child.communicate()
    left = [name for name in names(tmp_path) if name != "song.wav"]
    if way == "nameless" and draft._nameless(tmp_path) is not None:
        assert left == []
        return
    (name,) = left
    write_quieter([Quieter(path, 3)])
    assert name in names(tmp_path), "it might be somebody's who is writing now"
    os.utime(tmp_path / name, (time.time() - 7200,) * 2)
    (tmp_path / "notes.part").write_text("not ours")
    os.utime(tmp_path / "notes.part", (time.time() - 7200,) * 2)
    write_quieter([Quieter(path, 3)])
    assert names(tmp_path) == ["notes.part", "song -3 dB (2).wav", "song -3 dB.wav", "song.wav"]


@pytest.mark.parametrize("way", ["nameless", "hidden"])
@pytest.mark.parametrize("name", ["song.wav", "song.flac", "song.ogg"])
def test_both_ways_write_the_same_and_leave_no_draft(tmp_path, monkeypatch, way, name):
    if way == "hidden":
        monkeypatch.setattr(draft, "_nameless", lambda _home: None)
    paths = [make(tmp_path / name, "VORBIS" if name.endswith("ogg") else "PCM_16")]
    copies = write_quieter([Quieter(path, amount) for path in paths for amount in (0, 12)])
    assert names(tmp_path) == sorted(path.name for path in (*paths, *copies))
    assert copies[0].read_bytes() == paths[0].read_bytes()
    assert soundfile.info(copies[1]).frames == soundfile.info(paths[0]).frames
    assert copies[1].stat().st_mode & 0o777 == copies[0].stat().st_mode & 0o777 == 0o666 & ~umask()


def umask():
    mask = os.umask(0)
    os.umask(mask)
    return mask
