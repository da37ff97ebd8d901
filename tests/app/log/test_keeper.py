"""Frame-exact takes from hops, judged by what they hold and nothing else."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone

import pytest

from app.coach.judgement import Target, Verdict
from app.coach.makers import Targets, take_coach
from app.coach.parts import find_part
from app.engine.events import Event, EventKind
from app.log.keeper import TakeKeeper
from app.log.records import TakeState, TakeUpdate, iso_started


class Taken:
    """A log that keeps the updates."""

    def __init__(self) -> None:
        self.updates: list[TakeUpdate] = []
        self.revision = 0

    def submit(self, update: TakeUpdate) -> None:
        self.updates.append(update)

    def number(self, uid: str) -> int | None:
        uids = list(dict.fromkeys(update.uid for update in self.updates))
        return uids.index(uid) + 1 if uid in uids else None

    def last(self, nth_take: int = -1) -> TakeUpdate:
        uid = list(dict.fromkeys(update.uid for update in self.updates))[nth_take]
        return [update for update in self.updates if update.uid == uid][-1]

    def events(self, nth_take: int = -1) -> list[tuple[str, int, int | None]]:
        uid = self.last(nth_take).uid
        events = [event for update in self.updates if update.uid == uid for event in update.events]
        return [(event.kind, event.frame, event.frames) for event in events]


@pytest.fixture
def log():
    return Taken()


@pytest.fixture
def keeper(log):
    return TakeKeeper(log)


def test_a_take_begins_with_the_next_hop_and_ends_with_the_last_one_seen(keeper, log, reports):
    for _ in range(7):
        keeper(reports())
    keeper.begin("Second verse", "bass")
    for _ in range(123):
        keeper(reports())
    keeper.end()
    for _ in range(5):
        keeper(reports())
    take = log.last()
    assert (take.name, take.part, take.state) == ("Second verse", "bass", TakeState.CLOSED)
    assert take.frames == 123 * 480


def test_a_take_is_handed_to_the_log_with_its_first_hop(keeper, log, reports):
    keeper.begin()
    keeper(reports())
    assert [update.state for update in log.updates] == [TakeState.OPEN]


def test_nothing_is_logged_without_a_take(keeper, log, reports):
    keeper(reports())
    keeper.end()
    keeper.input_gone()
    keeper.close()
    assert not log.updates


def test_figures_are_the_highest_of_each_channel(keeper, log, reports):
    keeper(reports(peak_dbfs=0.0, average_dbfs=-3.0))
    keeper.begin()
    keeper(reports(peak_dbfs=(-9.0, -20.0), average_dbfs=(-18.0, -30.0), noise_floor_dbfs=-70.0))
    keeper(reports(2, peak_dbfs=((-12.0, -19.5), (-8.5, -40.0)), average_dbfs=(-17.0, -31.0)))
    keeper.end()
    first, second = log.last().per_channel
    assert (first.peak_dbfs, second.peak_dbfs) == (-8.5, -19.5)
    assert (first.average_max_dbfs, second.average_max_dbfs) == (-17.0, -30.0)
    # Known once, it stays known.
    assert first.noise_floor_dbfs == -70.0
    assert first.headroom_db == 8.5


def test_silence_has_no_headroom(keeper, log, reports):
    keeper.begin()
    keeper(reports(peak_dbfs=-math.inf, average_dbfs=-math.inf))
    keeper.end()
    channel = log.last().per_channel[0]
    assert channel.peak_dbfs == -math.inf
    assert channel.headroom_db is None
    assert channel.noise_floor_dbfs is None


def test_events_are_placed_from_the_start_of_the_take(keeper, log, reports):
    keeper(reports(10))
    keeper.begin()
    keeper(reports.with_clips((4_800 + 17, 5, 1)))
    keeper.end()
    assert log.events() == [("clip", 17, 5)]
    assert [channel.clips for channel in log.last().per_channel] == [0, 1]
    assert log.last().verdict is Verdict.AWASH


def test_a_clip_over_the_start_counts_with_the_part_inside_and_one_before_it_not_at_all(keeper, log, reports):
    keeper(reports(10))
    keeper.begin()
    keeper(reports.with_clips((4_790, 15, 0), (4_700, 100, 0)))
    keeper.end()
    assert log.events() == [("clip", 0, 5)]
    assert log.last().per_channel[0].clips == 1


def test_a_clip_reported_after_the_end_still_belongs_to_its_take(keeper, log, reports):
    keeper.begin("one")
    keeper(reports(10))
    keeper.begin("two")
    keeper(reports.with_clips((4_795, 20, 0), (4_810, 30, 1)))
    keeper.end()
    assert log.events(0) == [("clip", 4_795, 5)]
    assert log.last(0).verdict is Verdict.AWASH
    assert log.events(1) == [("clip", 0, 15), ("clip", 10, 30)]


def test_a_clip_that_is_found_when_the_engine_stops_still_belongs_to_the_take(keeper, log, reports):
    keeper.begin()
    keeper(reports(10))
    keeper.close()
    keeper(reports.with_clips((4_790, 10, 0), hops=0))
    keeper.input_gone()
    assert log.events() == [("clip", 4_790, 10)]
    assert (log.last().state, log.last().verdict) == (TakeState.CLOSED, Verdict.AWASH)
    assert log.last().final


def test_a_finished_take_is_let_go_of(keeper, log, reports):
    keeper.begin()
    keeper(reports())
    keeper.end()
    assert not log.last().final
    for _ in range(200):
        keeper(reports())
    assert log.last().final
    count = len(log.updates)
    keeper(reports())
    assert len(log.updates) == count


def test_a_gap_counts_as_lost_and_is_placed(keeper, log, reports):
    keeper(reports(3))
    keeper(reports.gap(5_000))
    keeper.begin()
    keeper(reports(10))
    keeper(reports.gap(960))
    keeper(reports(10))
    keeper.end()
    take = log.last()
    assert take.lost_frames == 960
    assert take.frames == 20 * 480 + 960
    assert log.events() == [("gap", 4_800, 960)]
    # Two hops of the picture were not seen; the points on either side were.
    assert take.trace is not None
    assert take.trace.peak_dbfs.tolist() == [-9.0, -9.0, -9.0]


def test_a_long_gap_is_a_hole_in_the_picture(keeper, log, reports):
    keeper.begin()
    keeper(reports(10))
    keeper(reports.gap(10 * 480))
    keeper(reports(10))
    keeper.end()
    assert log.last().trace.peak_dbfs.tolist() == [-9.0, -math.inf, -9.0]


def test_another_input_ends_the_take_and_the_take_says_so(keeper, log, reports, make_reports):
    keeper.begin()
    keeper(reports(10))
    other = make_reports(spec="device:other")
    keeper(other(10))
    assert log.last().state is TakeState.INTERRUPTED
    assert log.events() == [("input_lost", 4_800, None)]
    assert keeper.current is None


def test_an_input_that_begins_anew_ends_the_take(keeper, log, make_reports):
    keeper.begin()
    keeper(make_reports()(10))
    keeper(make_reports()(10))
    assert log.last().state is TakeState.INTERRUPTED
    assert log.last().frames == 4_800


@pytest.mark.parametrize(
    ("ended", "state", "events"),
    [(False, TakeState.INTERRUPTED, [("input_lost", 480, None)]), (True, TakeState.CLOSED, [])],
)
def test_an_input_that_goes_away_ends_the_take(keeper, log, reports, ended, state, events):
    keeper.begin()
    keeper(reports())
    keeper.input_gone(ended)
    assert log.last().state is state
    assert log.events() == events


def test_a_stall_is_logged_and_the_take_goes_on(keeper, log, reports):
    keeper.begin()
    keeper(reports(10))
    keeper(reports(0, events=[reports.event(EventKind.INPUT_LOST)]))
    keeper(reports.gap(480))
    keeper(reports(10, events=[reports.event(EventKind.INPUT_BACK)]))
    keeper.end()
    assert log.last().state is TakeState.CLOSED
    assert [kind for kind, _, _ in log.events()] == ["input_lost", "gap", "input_back"]


def test_an_input_lost_for_good_is_said_once(keeper, log, reports):
    keeper.begin()
    keeper(reports(10, events=[]))
    keeper(reports(0, events=[reports.event(EventKind.INPUT_LOST)]))
    keeper.input_gone()
    assert [kind for kind, _, _ in log.events()] == ["input_lost"]
    assert log.last().state is TakeState.INTERRUPTED


def test_a_take_that_waits_for_its_first_hop_outlasts_a_change_of_input(keeper, log, reports):
    keeper.begin("waits")
    keeper.input_gone()
    assert keeper.current is not None
    keeper(reports())
    assert log.last().name == "waits"


def test_a_begin_can_be_taken_back(keeper, log, reports):
    keeper.begin()
    keeper.end()
    keeper(reports())
    assert keeper.current is None
    assert not log.updates


def test_the_verdict_is_of_the_take_alone(keeper, log, reports):
    for _ in range(500):
        keeper(reports(peak_dbfs=-1.0, average_dbfs=-6.0))
    keeper.begin(part="bass")
    for _ in range(1_000):
        keeper(reports(average_dbfs=-18.0, peak_dbfs=-9.0))
    keeper.end()
    assert log.last().verdict is Verdict.FAIR_WATER


@pytest.mark.parametrize(
    ("average_dbfs", "peak_dbfs", "verdict"),
    [
        (-40.0, -30.0, Verdict.LOW_WATER),
        (-16.0, -8.0, Verdict.FAIR_WATER),
        (-14.0, -2.0, Verdict.HIGH_WATER),
        (-math.inf, -math.inf, Verdict.SLACK),
    ],
)
def test_verdicts_without_clips(keeper, log, reports, average_dbfs, peak_dbfs, verdict):
    keeper.begin(part="bass")
    for _ in range(5):
        keeper(reports(100, average_dbfs=average_dbfs, peak_dbfs=peak_dbfs))
    keeper.end()
    assert log.last().verdict is verdict


def test_the_current_take_for_the_window(keeper, log, reports):
    assert keeper.current is None
    keeper.begin("Second verse", "bass")
    waiting = keeper.current
    assert (waiting.name, waiting.number, waiting.started, waiting.duration_s) == (
        "Second verse",
        None,
        "",
        0.0,
    )
    keeper(reports.with_clips((10, 7, 0), hops=100))
    running = keeper.current
    assert running.number == 1
    assert running.duration_s == pytest.approx(1.0)
    assert (running.clips, running.peak_dbfs, running.verdict) == (1, 0.0, Verdict.AWASH)
    keeper.end()
    assert keeper.current is None


def test_looking_at_the_current_take_takes_nothing_from_the_log(keeper, log, reports):
    keeper.begin()
    keeper(reports())
    keeper(reports.with_clips((481, 7, 0)))
    assert keeper.current.clips == 1
    keeper.end()
    assert len(log.events()) == 1


def test_the_clock_on_the_wall_says_only_when_a_take_began(log, reports):
    times = [datetime(2025, 3, 29, 23, 59, 59, 500_000, timezone(timedelta(hours=5, minutes=45)))]
    keeper = TakeKeeper(log, now=lambda: times[-1])
    keeper.begin()
    keeper(reports(50))
    times.append(datetime(2001, 1, 1, tzinfo=UTC))
    keeper(reports(100))
    keeper.end()
    take = log.last()
    assert keeper.current is None
    assert take.frames == 150 * 480
    assert take.utc_offset_s == 20_700
    # Half a second had been heard when the first report came.
    assert take.started_us == datetime(2025, 3, 29, 18, 14, 59, tzinfo=UTC).timestamp() * 1_000_000


def test_a_take_over_midnight_is_of_the_day_on_which_it_began(log, reports):
    zone = timezone(timedelta(hours=1))
    times = [datetime(2025, 12, 31, 23, 59, 58, tzinfo=zone)]
    keeper = TakeKeeper(log, now=lambda: times[-1])
    keeper.begin()
    keeper(reports(100))
    assert keeper.current.started.startswith("2025-12-31T23:59:57")
    times.append(datetime(2026, 1, 1, 0, 0, 3, tzinfo=zone))
    keeper(reports(500))
    keeper.end()
    take = log.last()
    assert iso_started(take.started_us, take.utc_offset_s) == "2025-12-31T23:59:57.000+01:00"
    assert take.frames / take.rate_hz == 6.0


def test_a_zone_that_changes_in_a_take_changes_nothing_and_the_next_take_has_the_new_one(log, reports):
    # Summer time ends: the clock goes back from 3:00 to 2:00.
    times = [datetime(2025, 10, 26, 2, 59, 59, tzinfo=timezone(timedelta(hours=2)))]
    keeper = TakeKeeper(log, now=lambda: times[-1])
    keeper.begin()
    keeper(reports(100))
    times.append(datetime(2025, 10, 26, 2, 0, 9, tzinfo=timezone(timedelta(hours=1))))
    keeper(reports(1000))
    keeper.begin()
    keeper(reports(100))
    first, second = log.last(0), log.last(1)
    assert iso_started(first.started_us, first.utc_offset_s).endswith("02:59:58.000+02:00")
    assert iso_started(second.started_us, second.utc_offset_s).endswith("02:00:08.000+01:00")
    assert second.started_us - first.started_us == 10_000_000
    assert first.frames / first.rate_hz == 11.0


def test_names_that_no_file_can_hold_are_mended(keeper, log, reports):
    keeper.begin("a\0b\udc80c")
    keeper(reports())
    assert log.last().name == "a�b?c"


def test_a_part_that_nobody_knows_is_judged_like_any_other(keeper, log, reports):
    keeper.begin(part="theorbo")
    for _ in range(5):
        keeper(reports(100, average_dbfs=-16.0, peak_dbfs=-8.0))
    keeper.end()
    assert (log.last().part, log.last().verdict) == ("theorbo", Verdict.FAIR_WATER)


def test_peaks_over_the_ceiling_are_noted(keeper, log, reports):
    keeper(reports(10, peak_dbfs=-1.0))
    keeper.begin(make_coach=take_coach(find_part("other"), Target(ceiling_dbfs=-4.0)))
    keeper(reports(10, peak_dbfs=-5.0))
    keeper(reports(3, peak_dbfs=(-3.0, -9.0)))
    keeper(reports(300, peak_dbfs=-9.0))
    assert log.events() == [("over_ceiling", 4_800, 1_440)]
    keeper(reports(2, peak_dbfs=(-9.0, -2.0)))
    keeper.end()
    assert log.events()[1:] == [("over_ceiling", 313 * 480, 960)]


def test_a_loud_passage_is_handed_over_while_it_goes_on(keeper, log, reports):
    keeper.begin(make_coach=take_coach(find_part("other"), Target(ceiling_dbfs=-4.0)))
    keeper(reports(10, peak_dbfs=-3.0))
    keeper(reports.with_clips((100, 5, 0)))
    (event,) = [event for event in log.updates[-1].under_way if event.channel == 2]
    assert (event.kind, event.frame, event.peak_dbfs) == ("over_ceiling", 0, -3.0)
    keeper.end()
    assert log.updates[-1].under_way == ()


def test_a_turned_knob_is_noted_with_the_change(keeper, log, reports):
    keeper.begin()
    moved = Event(EventKind.GAIN_MOVED, 480, 0.01, 1, change_db=-4.0)
    keeper(reports(2, events=[moved]))
    (event,) = log.updates[-1].events
    assert (event.kind, event.frame, event.channel, event.change_db) == ("gain_moved", 480, 1, -4.0)


def test_how_far_over_full_scale_is_told_only_where_the_numbers_tell(keeper, log, reports):
    keeper.begin()
    clips = [Event(EventKind.CLIP, frame, 0.0, 1, 5, peak) for frame, peak in ((0, 0.0), (100, 2.5))]
    keeper(reports(2, events=clips))
    assert [event.over_db for event in log.updates[-1].events] == [None, 2.5]


def test_without_a_ceiling_of_its_own_a_take_has_its_coachs(keeper, log, reports):
    keeper.begin(make_coach=take_coach(find_part("other"), Targets(own={1: Target().under(-20.0)})))
    keeper(reports(10, peak_dbfs=-15.0))
    keeper.end()
    assert [(kind, frame) for kind, frame, _ in log.events()] == [("over_ceiling", 0)]
