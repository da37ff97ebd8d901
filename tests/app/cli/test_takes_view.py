"""``swellmark takes compare`` and ``takes send``."""

from __future__ import annotations

import pytest

from app.coach.judgement import Verdict
from app.log.parcel import read_parcel
from app.log.records import ChannelFigures, LevelTrace, TakeEvent, TakeState, TakeUpdate
from app.log.saving import save_events, save_take
from app.log.store import Store

HOSTILE = "[bold]=1+1\x1b[2J\n\u202e<script>" + "x" * 100


@pytest.fixture
def log(home):
    """The user's log: two evenings of bass, three takes, the second one clipped and of a hostile name."""
    with Store() as store, store.writing():
        for i, name in enumerate(("Verse", HOSTILE, "Verse")):
            update = TakeUpdate(
                uid=str(i),
                name=name,
                part="bass",
                started_us=1_700_000_000_000_000 + (86_400_000_000 if i == 2 else 0),
                utc_offset_s=0,
                input_spec="file:/home/anna/secret.wav",
                input_name="Input 1",
                rate_hz=48_000,
                state=TakeState.CLOSED,
                frames=48_000 * 60,
                lost_frames=0,
                verdict=(Verdict.FAIR_WATER, Verdict.AWASH, Verdict.HIGH_WATER)[i],
                per_channel=(ChannelFigures((-8.0, 0.0, -4.0)[i], -15.5, -68.0, i % 2),),
                trace=LevelTrace(0.1, b"\x00\xf8\x00\xfc" * 600),
            )
            number = save_take(store, update, None, "nobody")
            save_events(store, number, 0, [TakeEvent("clip", 48_000, 1, 7, 0.0)] * (i % 2))


def test_takes_side_by_side(run, log):
    result = run("takes", "compare", 1, 2)
    assert result.exit_code == 0
    assert "Technically the safest is take 1: clips 0, take 2 has 1." in " ".join(result.stdout.split())
    assert "\x1b" not in result.stdout
    assert "\u202e" not in result.stdout
    assert all(len(line) <= 80 for line in result.stdout.splitlines())
    assert "▆" in result.stdout or "▅" in result.stdout
    assert any(line.strip() == "!" for line in result.stdout.splitlines())


def test_a_take_against_an_earlier_session_s(run, log):
    result = run("takes", "compare", 3)
    assert "Technically the safest is take 1" in result.stdout
    assert "−4.0" in result.stdout
    alone = run("takes", "compare", 1)
    assert alone.exit_code == 2
    assert "give two numbers" in alone.stderr


def test_the_document(run, log, strict_json):
    result = run("takes", "compare", 2, 1, "--json")
    document = strict_json(result.stdout)
    assert (document["safest"], document["ground"], document["next_best"]) == (1, "clips", 2)
    assert [take["take"] for take in document["takes"]] == [2, 1]
    assert document["takes"][0]["clips_s"] == [1.0]
    assert len(document["takes"][0]["levels"]["average_dbfs"]) == 600
    assert document["takes"][1]["loud_average_dbfs"] == -20.48


def test_the_status_tells_whether_the_safest_is_clean(run, log):
    assert run("takes", "compare", 2, 3).exit_code == 1
    assert run("takes", "compare", 1, 3).exit_code == 0


def test_a_page_for_whoever_helps(run, log, tmp_path):
    path = tmp_path / "for you.html"
    result = run("takes", "send", 1, 2, "--to", path, "--letter", "Why does it clip?")
    assert result.exit_code == 0
    text = path.read_text("utf-8")
    assert "anna" not in text
    assert str(tmp_path) not in text
    assert [take["name"] for take in read_parcel(text)["takes"]] == ["Verse", HOSTILE.replace("\0", "")]
    assert "Why does it clip?" in text
    assert run("takes", "send", 1, "--to", tmp_path / "a.txt").exit_code == 2
    assert run("takes", "send", 99, "--to", path).exit_code == 2
