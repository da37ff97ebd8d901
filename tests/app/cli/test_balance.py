"""``swellmark balance``: the contract, the exit status, the sentences, the copies."""

from __future__ import annotations

import signal
import subprocess
import sys
import time

import numpy as np
import pytest
import soundfile

from app.words.balance import care_sentences

RATE_HZ = 16_000


def hiss(seconds, rms_dbfs, low_hz=0.0, high_hz=8000.0, channels=2, rate_hz=RATE_HZ, seed=1):
    frames = round(seconds * rate_hz)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=(frames, channels)), axis=0)
    frequencies = np.fft.rfftfreq(frames, 1 / rate_hz)
    spectrum[(frequencies < low_hz) | (frequencies >= high_hz)] = 0.0
    wave = np.fft.irfft(spectrum, frames, axis=0)
    wave *= 10 ** (rms_dbfs / 20) / np.sqrt(2) / np.sqrt(np.mean(wave**2))
    return np.clip(wave, -(10 ** ((rms_dbfs + 8) / 20)), 10 ** ((rms_dbfs + 8) / 20))


@pytest.fixture
def part(sound):
    return sound("part.wav", hiss(6, -22, 300, 3000, channels=1), RATE_HZ)


@pytest.fixture
def song(sound):
    return sound("song.wav", hiss(8, -9, rate_hz=44_100, seed=2), 44_100, subtype="PCM_24")


@pytest.fixture
def stems(sound):
    bands = {"low": (40, 150), "middle": (300, 3000), "high": (5000, 8000)}
    return [sound(f"{name}.wav", hiss(8, -18, *band, seed=3), RATE_HZ) for name, band in bands.items()]


def test_the_json_is_the_contract(run, strict_json, part, song):
    result = run("balance", "--part", part, "--backing", song, "--json")
    assert result.exit_code == 1
    found = strict_json(result.stdout)
    assert found["part"]["path"] == str(part)
    assert found["part"]["short_term_p50_lufs"] == pytest.approx(-24, abs=1.5)
    (backing,) = found["backing"]
    assert backing["path"] == str(song)
    assert backing["integrated_lufs"] == pytest.approx(-8, abs=2)
    assert backing["short_term_max_lufs"] >= backing["integrated_lufs"] - 0.5
    assert 10 <= backing["pull_down_db"] <= 24
    assert backing["audibility_before"] < 0.2
    assert backing["audibility_after"] >= 0.9
    assert backing["written"] is None
    assert found["reason"].endswith("then.")
    assert result.stderr == ""


def test_the_text_says_backing_down_then_the_headphone_amplifier_never_the_gain(run, part, song):
    result = run("balance", "--part", part, "--backing", song)
    assert result.exit_code == 1
    text = " ".join(result.stdout.split())
    places = [text.index(sentence) for sentence in care_sentences(True)]
    assert places == sorted(places)
    assert "Pull the backing down 1" in text
    assert "up the gain" not in text
    assert "gain up" not in text


def test_a_quiet_backing_is_left_alone(run, sound, strict_json, part):
    quiet = sound("quiet.wav", hiss(8, -45), RATE_HZ)
    result = run("balance", "--part", part, "--backing", quiet)
    assert result.exit_code == 0
    assert "Leave the backing where it is." in result.stdout
    assert "local rules" in " ".join(result.stdout.split())
    more = run("balance", "--part", part, "--backing", quiet, "--more-me", "5", "--json")
    assert more.exit_code == 1
    assert strict_json(more.stdout)["backing"][0]["pull_down_db"] == 5.0


def test_silent_backing_is_null_and_done(run, sound, strict_json, part):
    silent = sound("silent.wav", np.zeros((5 * RATE_HZ, 2)), RATE_HZ)
    result = run("balance", "--part", part, "--backing", silent, "--json")
    assert result.exit_code == 0
    found = strict_json(result.stdout)
    assert found["reason"] == "The backing is silent: there is nothing to pull down."
    (backing,) = found["backing"]
    assert backing["integrated_lufs"] is backing["true_peak_dbtp"] is None
    assert backing["pull_down_db"] == 0.0


@pytest.mark.parametrize("spelling", ["each", "one after another"])
def test_only_the_stem_in_the_way_goes_down(run, strict_json, part, stems, spelling):
    files = [word for stem in stems for word in ("--backing", stem)]
    if spelling == "one after another":
        files = ["--backing", *stems]
    result = run("balance", "--part", part, *files, "--json")
    assert result.exit_code == 1
    found = strict_json(result.stdout)
    amounts = [each["pull_down_db"] for each in found["backing"]]
    assert [each["path"] for each in found["backing"]] == [str(stem) for stem in stems]
    assert amounts[0] == amounts[2] == 0.0
    assert 0.0 < sum(amounts) < 3 * found["equal_pull_down_db"]
    assert found["backing"][1]["in_the_way"]["share"] > 0.9
    assert found["audibility_after"] >= 0.9


def test_the_table_of_stems_says_which_is_in_the_way(run, part, stems):
    text = " ".join(run("balance", "--part", part, "--backing", *stems).stdout.split())
    assert "In the way" in text
    assert "middle.wav" in text
    assert "Pulling all 3 stems down alike" in text


def test_copies_are_written_and_then_need_nothing_more(run, strict_json, part, song, tmp_path):
    out = tmp_path / "new" / "copies"
    result = run("balance", "--part", part, "--backing", song, "--json", "--write", out)
    (backing,) = strict_json(result.stdout)["backing"]
    (copy,) = out.iterdir()
    assert backing["written"] == str(copy)
    info = soundfile.info(copy)
    assert (info.samplerate, info.subtype, info.frames) == (44_100, "PCM_24", 8 * 44_100)
    again = run("balance", "--part", part, "--backing", copy, "--json")
    assert again.exit_code == 0, again.stdout
    assert run("balance", "--part", part, "--backing", song, "--write", out).exit_code == 1
    assert len(list(out.iterdir())) == 2, "the first copy is still there"


def test_a_part_may_begin_later(run, sound, strict_json, part):
    backing = sound("b.wav", np.concatenate((hiss(10, -12, seed=5), hiss(10, -60, seed=6))), RATE_HZ)
    shares = [
        strict_json(run("balance", "--part", part, "--backing", backing, "--json", "--start", start).stdout)
        for start in (0, 12)
    ]
    assert shares[0]["audibility_before"] == 0.0
    assert shares[1]["audibility_before"] == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("missing", "missing.wav: there is no such file"),
        ("short", "short.wav: it lasts 1.0 s; at least 3 s"),
        ("noise", "noise.wav: this is not a sound file"),
    ],
)
@pytest.mark.parametrize("role", ["--part", "--backing"])
def test_unusable_files_are_one_line_and_status_2(run, sound, part, song, tmp_path, wrong, said, role):
    bad = tmp_path / f"{wrong}.wav"
    if wrong == "short":
        sound("short.wav", hiss(1, -20), RATE_HZ)
    elif wrong == "noise":
        bad.write_bytes(np.random.default_rng(1).bytes(5000))
    files = {"--part": part, "--backing": song} | {role: bad}
    result = run("balance", *(word for pair in files.items() for word in pair), "--json")
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert said in line


@pytest.mark.skipif(sys.platform != "linux", reason="only here may a name hold any byte")
def test_any_name_is_printed_and_none_steers_the_terminal(run, sound, part, tmp_path, strict_json):
    folder = tmp_path / "out\udcfe"
    odd = sound("plain.wav", hiss(8, -9, seed=2), RATE_HZ).rename(tmp_path / "[red]\x1b[2J\udcff.wav")
    result = run("balance", "--part", part, "--backing", odd, "--write", folder)
    assert result.exit_code == 1
    assert "[red]" in result.stdout
    assert "\x1b" not in result.stdout
    (copy,) = folder.iterdir()
    assert copy.name.startswith("[red]\x1b[2J\udcff -")
    found = strict_json(run("balance", "--part", part, "--backing", odd, "--json").stdout)
    assert found["backing"][0]["path"] == str(odd)


def test_help(run):
    result = run("balance", "--help")
    assert result.exit_code == 0
    assert "--more-me" in result.stdout


def test_a_silent_part_is_unusable(run, sound, song):
    silent = sound("silent.wav", np.zeros((5 * RATE_HZ, 1)), RATE_HZ)
    result = run("balance", "--part", silent, "--backing", song)
    assert result.exit_code == 2
    assert "silent.wav: it is silent" in result.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("--part", "x.wav"),
        ("--more-me", "-1"),
        ("--more-me", "2.5"),
        ("--start", "nan"),
        ("--start", "-1"),
    ],
    ids=" ".join,
)
def test_wrong_usage(run, part, song, arguments):
    whole = ("--part", part, "--backing", song) if "--more-me" in arguments or "--start" in arguments else ()
    result = run("balance", *whole, *arguments)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1


def test_the_second_time_is_from_memory(run, part, song, home):
    first = run("balance", "--part", part, "--backing", song, "--json")
    kept = [path for path in home.rglob("*") if path.is_file()]
    assert len(kept) == 2
    assert run("balance", "--part", part, "--backing", song, "--json").stdout == first.stdout


def test_ctrl_c_while_copies_are_written_leaves_none(start, sound, part, tmp_path):
    long = sound("long.wav", np.tile(hiss(10, -9, seed=2), (30, 1)), RATE_HZ)
    out = tmp_path / "out"
    process = start("balance", "--part", part, "--backing", long, "--write", out)
    deadline = time.monotonic() + 60
    while not out.exists():
        assert process.poll() is None, "it ended before it wrote"
        assert time.monotonic() < deadline
        time.sleep(0.001)
    process.send_signal(signal.SIGINT)
    try:
        process.wait(30)
    except subprocess.TimeoutExpired:
        pytest.fail("it did not stop")
    # It may have been quicker than the signal; then the copy is whole.
    for path in out.iterdir():
        assert not path.name.startswith(".")
        assert soundfile.info(path).frames == soundfile.info(long).frames
    assert process.returncode in ({1, 130} if any(out.iterdir()) else {130})
