"""``swellmark watch``: what it prints, what it logs, and that it agrees with ``check``."""

from __future__ import annotations

import math

import numpy as np
import pytest

CHANNEL_FIELDS = {
    *("average_dbfs", "peak_dbfs", "peak_hold_dbfs", "headroom_db", "noise_floor_dbfs", "clips"),
}


@pytest.fixture
def watch(run, strict_json):
    """Watch with ``--json``; the exit status and the lines."""

    def watch(*arguments):
        result = run("watch", "--json", *arguments)
        assert result.stderr == ""
        return result.exit_code, [strict_json(line) for line in result.stdout.splitlines()]

    return watch


def highest(lines, channel, field):
    return max(each for line in lines if (each := line["per_channel"][channel][field]) is not None)


def test_every_line_has_every_field(watch, sound, phrases):
    status, lines = watch("--unpaced", "--input", f"file:{sound('fair.wav', phrases(-15.0, channels=2))}")
    assert status in (0, 1)
    assert [line["t_s"] for line in lines] == pytest.approx([(n + 1) / 10 for n in range(80)])
    for line in lines:
        assert line.keys() >= {
            *("t_s", "verdict", "gain_change_db", "lost_frames", "per_channel", "loudness"),
        }
        assert line["loudness"].keys() >= {"momentary_lufs", "short_term_lufs"}
        assert len(line["per_channel"]) == 2
        assert all(channel.keys() >= CHANNEL_FIELDS for channel in line["per_channel"])
        assert all(channel["headroom_db"] == -channel["peak_hold_dbfs"] for channel in line["per_channel"])


def test_silence_is_null(watch, sound):
    status, lines = watch("--unpaced", "--input", f"file:{sound('silence.wav', np.zeros((9600, 1)))}")
    assert status == 1
    assert len(lines) == 2
    for line in lines:
        (channel,) = line["per_channel"]
        assert line["verdict"] == "slack"
        assert channel["average_dbfs"] is channel["peak_dbfs"] is channel["headroom_db"] is None


@pytest.mark.parametrize(
    ("rate_hz", "channels", "paced"),
    [
        (48_000, 1, True),
        (44_100, 2, True),
        (8_000, 1, False),
        (11_025, 3, False),
        (44_100, 2, False),
        (96_000, 5, False),
        (192_000, 1, False),
    ],
)
def test_watch_and_check_agree(watch, run, sound, strict_json, rate_hz, channels, paced):
    # Bursts at any place, the highest peak just before the end: nothing may fall between two lines.
    random = np.random.default_rng(rate_hz + channels)
    samples = random.standard_normal((round(1.234 * rate_hz), channels)) * 0.02
    for channel in range(channels):
        for start_s in (0.31, 0.77):
            start = round((start_s + 0.017 * channel) * rate_hz)
            samples[start : start + rate_hz // 20, channel] *= 8.0
        samples[-5 - 3 * channel, channel] = 0.9 - 0.1 * channel
    path = sound("bursts.wav", samples, rate_hz, subtype="FLOAT")
    _, lines = watch("--input", f"file:{path}", *([] if paced else ["--unpaced"]))
    (file,) = strict_json(run("check", "--json", path).stdout)["files"]
    assert lines[-1]["t_s"] == pytest.approx(file["duration_s"], abs=0.001)
    for channel, checked in enumerate(file["per_channel"]):
        assert highest(lines, channel, "peak_dbfs") == pytest.approx(checked["peak_dbfs"], abs=0.1)
        assert lines[-1]["per_channel"][channel]["peak_hold_dbfs"] == checked["peak_dbfs"]
        assert highest(lines, channel, "average_max_dbfs") == pytest.approx(
            checked["average_max_dbfs"], abs=0.1
        )
        assert lines[-1]["per_channel"][channel]["clips"] == len(
            [clip for clip in checked["clips"] if clip["kind"] == "full_scale"]
        )


def test_seconds_are_kept_to_the_frame_however_fast_it_runs(watch):
    _, lines = watch("--unpaced", "--input", "player:bass", "--seconds", "2.25")
    assert lines[-1]["t_s"] == 2.25
    assert len(lines) == 23


def test_a_clip_at_the_very_end_is_counted(watch, sound):
    samples = np.zeros((4800, 1))
    samples[-6:] = 1.0
    status, lines = watch("--unpaced", "--input", f"file:{sound('late.wav', samples)}")
    assert status == 1
    assert lines[-1]["per_channel"][0]["clips"] == 1
    assert lines[-1]["verdict"] == "awash"


def test_text_for_people(run, sound, phrases):
    path = sound("fair.wav", phrases(-15.0))
    result = run("watch", "--unpaced", "--input", f"file:{path}", "--explain")
    lines = result.stdout.splitlines()
    assert lines[0] == "Listening to fair.wav, 48 kHz, 1 channel. Ctrl+C ends."
    assert any("Fair water: " in line for line in lines)
    assert any(line.startswith("Average and peaks are where they should be") for line in lines)
    assert lines[-1].startswith("Heard 0:08: highest average −1")
    assert "highest peak −15.0 dBFS" in lines[-1]
    assert lines[-1].endswith("no clips.")
    assert "Average and peaks" not in run("watch", "--unpaced", "--input", f"file:{path}").stdout


def test_the_channel_is_named_where_channels_differ(run, sound, phrases):
    uneven = phrases(-15.0, channels=2)
    uneven[:, 1] *= 0.1
    text = run("watch", "--unpaced", "--input", f"file:{sound('uneven.wav', uneven)}").stdout
    assert "Low water, channel 2: Turn the gain up about" in text


def test_a_take_is_in_the_log_with_its_clips(run, sound, phrases, strict_json):
    samples = phrases(-15.0, channels=2)
    samples[48_000:48_007, 1] = 1.0
    path = sound("clipped.wav", samples)
    result = run("watch", "--unpaced", "--input", f"file:{path}", "--take", "Second verse")
    assert result.exit_code == 1
    assert result.stdout.splitlines()[-1] == "Take 1 is in the log: 1 clip."
    take = strict_json(run("takes", "show", "1", "--json").stdout)
    assert (take["name"], take["state"], take["verdict"]) == ("Second verse", "closed", "awash")
    assert take["duration_s"] == 8.0
    (clip,) = [event for event in take["events"] if event["kind"] == "clip"]
    assert (clip["channel"], clip["frames"], clip["t_s"]) == (2, 7, 1.0)


def test_a_clip_early_in_a_take_is_not_forgotten_by_its_end(run, sound, phrases):
    samples = phrases(-15.0, seconds=40.0)
    samples[24_000:24_009] = 1.0
    path = f"file:{sound('early.wav', samples)}"
    assert run("watch", "--unpaced", "--input", path, "--take", "Long").exit_code == 1


def test_what_cannot_be_opened_leaves_no_take(run, tmp_path, strict_json):
    result = run("watch", "--input", f"file:{tmp_path / 'missing.wav'}", "--take", "None")
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert strict_json(run("takes", "list", "--json").stdout)["takes"] == []


def test_a_file_that_breaks_off_is_said_to_be_damaged(run, sound, phrases, strict_json):
    path = sound("whole.flac", phrases(-15.0))
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 4000] = bytes(4000)
    path.write_bytes(content)
    result = run("watch", "--unpaced", "--input", f"file:{path}", "--take", "Damaged")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert f"{path}: the file is damaged somewhere after" in result.stderr
    assert strict_json(run("takes", "show", "1", "--json").stdout)["state"] == "interrupted"


@pytest.mark.parametrize("part", ["bass", "guitar", "voice", "drums"])
def test_every_part_of_the_player_can_be_watched(watch, part):
    status, lines = watch("--unpaced", "--input", f"player:{part}", "--part", part, "--seconds", "12")
    assert status in (0, 1)
    assert math.isclose(lines[-1]["t_s"], 12.0)
    assert highest(lines, 0, "peak_dbfs") > -60.0
