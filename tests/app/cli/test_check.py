"""``swellmark check``: exit status, JSON document, complaints."""

from __future__ import annotations

import numpy as np
import pytest

from app.check import many

FILE_FIELDS = {
    *("path", "format", "rate_hz", "channels", "duration_s", "verdict", "advice", "loudness", "per_channel"),
    *("forecast", "faults"),
}
CHANNEL_FIELDS = {
    *("verdict", "gain_change_db", "peak_dbfs", "true_peak_dbtp", "average_max_dbfs", "average_playing_dbfs"),
    *("rms_dbfs", "crest_db", "noise_floor_dbfs", "noise_floor_dba", "dc_offset", "hum", "clips"),
}


@pytest.fixture
def fair(sound, phrases):
    return sound("fair.wav", phrases(-15.0), subtype="PCM_24")


@pytest.fixture
def clipped(sound, phrases):
    return sound("clipped.wav", np.clip(phrases(3.0, 4.0, channels=2), -1.0, 1.0), subtype="PCM_16")


def test_nothing_to_act_on_is_status_0(run, fair):
    result = run("check", fair)
    assert result.exit_code == 0
    assert "Fair water" in result.stdout
    assert result.stderr == ""


def test_something_to_act_on_is_status_1(run, fair, clipped):
    assert run("check", fair, clipped).exit_code == 1


def test_the_channel_is_named_where_channels_differ(run, sound, phrases):
    uneven = phrases(-15.0, channels=2)
    uneven[:, 1] *= 0.1
    assert "Channel 2: Turn the gain up about" in run("check", sound("uneven.wav", uneven)).stdout
    assert "Channel 2: " not in run("check", sound("even.wav", phrases(-15.0, channels=2))).stdout


def test_several_files_are_summed_up(run, fair, clipped, tmp_path):
    def last(*paths):
        return run("check", *paths).stdout.splitlines()[-1]

    assert last(fair, clipped, tmp_path / "none") == (
        "2 files measured, 1 needs attention, 1 could not be read."
    )
    assert last(fair, fair) == "2 files measured, none needs attention."
    assert "measured" not in run("check", fair).stdout


def test_the_document_has_every_field(run, fair, clipped, strict_json):
    result = run("check", "--json", fair, clipped)
    document = strict_json(result.stdout)
    assert document.keys() >= {"swellmark", "files"}
    one, two = document["files"]
    for file in (one, two):
        assert file.keys() >= FILE_FIELDS
        assert file["advice"].keys() >= {"gain_change_db", "reason"}
        assert file["loudness"].keys() >= {
            *("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs", "range_lu"),
        }
        assert len(file["per_channel"]) == file["channels"]
        assert all(channel.keys() >= CHANNEL_FIELDS for channel in file["per_channel"])
    assert (one["path"], one["format"], one["rate_hz"]) == (str(fair), "WAV/PCM_24", 48000)
    assert one["verdict"] == "fair_water"
    assert one["duration_s"] == 8.0
    assert one["per_channel"][0]["clips"] == []
    # An upward step of the tone over the noise: the peak of the sine, give or take the hiss.
    assert one["per_channel"][0]["peak_dbfs"] == pytest.approx(-15.0, abs=0.1)
    assert two["verdict"] == "awash"
    clip = two["per_channel"][1]["clips"][0]
    assert clip.keys() >= {"start_frame", "start_s", "frames", "kind", "peak_dbfs"}
    assert clip["kind"] == "full_scale"
    assert clip["start_s"] == pytest.approx(clip["start_frame"] / 48000, abs=1e-6)


def test_silence_is_null_and_never_minus_infinity(run, sound, strict_json):
    result = run("check", "--json", sound("silence.wav", np.zeros((48000, 2))))
    assert result.exit_code == 1
    (file,) = strict_json(result.stdout)["files"]
    assert file["verdict"] == "slack"
    assert file["forecast"] is None
    assert file["loudness"]["integrated_lufs"] is None
    for channel in file["per_channel"]:
        assert channel.keys() >= CHANNEL_FIELDS
        assert channel["peak_dbfs"] is channel["true_peak_dbtp"] is channel["rms_dbfs"] is None
        assert channel["average_max_dbfs"] is channel["average_playing_dbfs"] is channel["hum"] is None


def test_what_is_no_number_in_a_file_is_counted_and_not_passed_on(run, sound, phrases, strict_json):
    samples = phrases(-15.0)
    samples[4000:4003] = [[np.nan], [np.inf], [-np.inf]]
    (file,) = strict_json(run("check", "--json", sound("odd.wav", samples, subtype="FLOAT")).stdout)["files"]
    assert file["bad_samples"] == 3
    assert "bad_samples" in [fault["kind"] for fault in file["faults"]]
    assert file["per_channel"][0]["peak_dbfs"] == pytest.approx(-15.0, abs=0.1)


def test_the_forecast(run, sound, phrases, strict_json):
    random = np.random.default_rng(11)
    samples = phrases(-15.0, seconds=24.0)
    samples *= np.repeat(10 ** (random.normal(0.0, 1.0, 24) / 20), 48000)[:, np.newaxis]
    path = sound("varied.wav", samples)
    forecasts = {
        take_s: strict_json(run("check", "--json", "--take-seconds", take_s, path).stdout)["files"][0][
            "forecast"
        ]
        for take_s in (60, 600)
    }
    short, long = forecasts[60], forecasts[600]
    for take_s, forecast in forecasts.items():
        assert forecast["take_s"] == take_s
        assert forecast["peak_p50_dbfs"] < forecast["peak_p95_dbfs"]
        assert 0.0 <= forecast["clip_probability"] <= 1.0
    # The longer the take, the higher its highest peak.
    assert long["peak_p50_dbfs"] > short["peak_p50_dbfs"]
    assert long["clip_probability"] >= short["clip_probability"]
    text = " ".join(run("check", "--take-seconds", 600, path).stdout.split())
    assert "10 min" in text
    assert f"about {short['peak_p50_dbfs']:.1f}" not in text
    assert f"about −{-long['peak_p50_dbfs']:.1f} dBFS" in text


def test_without_enough_playing_there_is_no_forecast(run, sound, phrases, strict_json):
    path = sound("short.wav", phrases(-15.0, seconds=2.0))
    assert strict_json(run("check", "--json", path).stdout)["files"][0]["forecast"] is None
    assert "highest peak:" not in run("check", path).stdout


def test_verdicts_are_explained_on_request(run, clipped):
    sentence = "The sound went over 0 dBFS"
    assert sentence in run("check", "--explain", clipped).stdout
    assert sentence not in run("check", clipped).stdout


def test_one_bad_file_does_not_keep_the_others_from_being_measured(run, fair, tmp_path, strict_json):
    bad = tmp_path / "bad.wav"
    bad.write_text("no sound at all")
    empty = tmp_path / "empty"
    empty.mkdir()
    result = run("check", "--json", bad, fair, empty, tmp_path / "missing.wav")
    assert result.exit_code == 2
    (file,) = strict_json(result.stdout)["files"]
    assert file["path"] == str(fair)
    assert [
        any(str(path) in line for path in (bad, empty, tmp_path / "missing.wav"))
        for line in result.stderr.splitlines()
    ] == [True] * 3


def test_a_folder_stands_for_the_sound_files_in_it(run, sound, phrases, tmp_path, strict_json):
    for folder in ("songs", "songs/second", "songs/.trash"):
        (tmp_path / folder).mkdir()
    take = phrases(-15.0, seconds=1.0)
    for name in ("b.wav", "second/a.FLAC", "._b.wav", ".trash/c.wav"):
        sound(f"songs/{name}", take)
    (tmp_path / "songs" / "notes.txt").write_text("verse, chorus")
    result = run("check", "--json", tmp_path / "songs")
    files = [file["path"] for file in strict_json(result.stdout)["files"]]
    assert files == [str(tmp_path / "songs" / name) for name in ("b.wav", "second/a.FLAC")]
    assert result.stderr == ""


def test_an_unreadable_file_in_a_folder_is_named(run, fair, tmp_path):
    (tmp_path / "cut.wav").write_bytes(fair.read_bytes()[:20])
    result = run("check", tmp_path)
    assert result.exit_code == 2
    assert "Fair water" in result.stdout
    assert str(tmp_path / "cut.wav") in result.stderr
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize("name", ["a[red]b.wav", "two\nlines.wav", "\x1b[2J.wav", "\udcff.wav", "=1+1.wav"])
def test_names_steer_neither_the_terminal_nor_the_document(run, sound, phrases, name, tmp_path, strict_json):
    path = sound("plain.wav", phrases(-15.0, seconds=1.0)).rename(tmp_path / name)
    text = run("check", path).stdout
    assert "\x1b" not in text
    assert "\udcff" not in text
    assert ("[red]" in name) == ("[red]" in text)
    assert strict_json(run("check", "--json", path).stdout)["files"][0]["path"] == str(path)
    gone = run("check", f"{path}.gone")
    assert gone.exit_code == 2
    assert len(gone.stderr.splitlines()) == 1
    assert "\x1b" not in gone.stderr


def test_order_and_figures_of_the_document_do_not_depend_on_who_is_ready_first(
    run, sound, phrases, tmp_path, monkeypatch, strict_json
):
    monkeypatch.setattr(many, "_WORTH_PROCESSES_BYTES", 0)
    for name, seconds in (("a", 30.0), ("b", 1.0), ("c", 2.0)):
        sound(f"{name}.wav", phrases(-15.0, seconds=seconds, rate_hz=8_000), rate_hz=8_000)
    aside = strict_json(run("check", "--json", tmp_path).stdout)
    assert [file["path"][-5:] for file in aside["files"]] == ["a.wav", "b.wav", "c.wav"]
    monkeypatch.setattr(many, "_MOST_AT_ONCE", 1)
    assert strict_json(run("check", "--json", tmp_path).stdout) == aside


def test_each_channel_may_have_a_part_of_its_own(run, sound, phrases, strict_json):
    quiet = sound("quiet.wav", phrases(-34.0, seconds=20.0, channels=2))

    def gains_db(*parts):
        (file,) = strict_json(run("check", quiet, "--json", *parts).stdout)["files"]
        return [channel["gain_change_db"] for channel in file["per_channel"]]

    (voice_db, _), (drums_db, _) = gains_db("--part", "voice"), gains_db("--part", "drums")
    assert voice_db != drums_db
    assert gains_db("--part", "1=voice", "--part", "2=drums") == [voice_db, drums_db]
    assert gains_db("--part", "drums", "--part", "1=voice") == [voice_db, drums_db]
    assert gains_db("--part", "9=drums", "--part", "voice") == [voice_db, voice_db]


@pytest.mark.parametrize("part", ["0=voice", "x=voice", "=voice", "1=nobody"])
def test_a_channel_or_part_that_is_none_is_one_line(run, fair, part):
    result = run("check", fair, "--part", part)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1


def test_each_channel_may_have_a_ceiling_of_its_own(run, sound, phrases, strict_json):
    fair = sound("fair.wav", phrases(-15.0, seconds=20.0, channels=2))

    def gains_db(*ceilings):
        (file,) = strict_json(run("check", fair, "--json", *ceilings).stdout)["files"]
        return [channel["gain_change_db"] for channel in file["per_channel"]]

    usual_db, _ = gains_db()
    assert gains_db("--peaks-under", "-6") == [usual_db, usual_db]
    lower = gains_db("--peaks-under", "2=-18")
    assert lower[0] == usual_db
    assert usual_db - 16.0 < lower[1] < usual_db - 8.0, "12 dB lower, and what was left alone before"
    assert gains_db("--peaks-under", "-18,1=\N{MINUS SIGN}6") == lower


@pytest.mark.parametrize("ceiling", ["0=-9", "x=-9", "loud", "nan", "0", "-41", "2=", ""])
def test_a_ceiling_that_is_none_is_one_line(run, fair, ceiling):
    result = run("check", fair, "--peaks-under", ceiling)
    if ceiling:
        assert result.exit_code == 2
        assert result.stdout == ""
        assert len(result.stderr.splitlines()) == 1
    else:
        assert result.exit_code == 0, "nothing said is as usual"
