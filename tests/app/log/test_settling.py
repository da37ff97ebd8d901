"""Which files are new and have stopped growing: on paper, without a clock or a disk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from app.log.settling import RETRY_AFTER_S, Settling, Stamp

TAKE = Path("evening/take.wav")
STAMP = Stamp(1000, 5_000, device=1, inode=7)


def ready_paths(settling, now_s):
    return [path for path, _ in settling.ready(now_s)]


def test_a_file_is_ready_once_it_stayed_as_it_is_for_long_enough():
    settling = Settling(3.0)
    settling.see(TAKE, STAMP, 0.0)
    settling.see(TAKE, replace(STAMP, size=2000), 2.0)
    assert not settling.ready(4.9)
    settling.see(TAKE, replace(STAMP, size=2000), 4.9)
    assert settling.ready(5.0) == [(TAKE, replace(STAMP, size=2000))]


def test_a_change_without_growth_is_a_change():
    settling = Settling(3.0)
    settling.see(TAKE, STAMP, 0.0)
    settling.see(TAKE, replace(STAMP, modified_ns=6_000), 2.0)
    assert not settling.ready(4.0)


@given(st.lists(st.tuples(st.integers(1, 5), st.floats(0.0, 10.0)), min_size=1))
def test_nothing_is_ready_before_its_last_change_lies_back_far_enough(looks):
    settling, now_s, changed_s, size = Settling(3.0), 0.0, 0.0, None
    for new_size, pause_s in looks:
        now_s += pause_s
        if new_size != size:
            size, changed_s = new_size, now_s
        settling.see(TAKE, replace(STAMP, size=new_size), now_s)
        assert bool(settling.ready(now_s)) == (now_s >= changed_s + 3.0)


def test_an_empty_file_waits():
    settling = Settling(3.0)
    settling.see(TAKE, replace(STAMP, size=0), 0.0)
    assert not settling.ready(1e6)


def test_what_was_there_is_never_ready():
    settling = Settling(3.0)
    settling.know(TAKE, STAMP)
    settling.see(TAKE, STAMP, 10.0)
    assert not settling.waiting


def test_a_renamed_file_is_no_new_one():
    settling = Settling(3.0)
    settling.know(TAKE, STAMP)
    settling.see(TAKE, None, 9.0)
    settling.see(TAKE.with_name("best take.wav"), STAMP, 10.0)
    assert not settling.waiting


def test_a_folder_that_comes_back_with_other_inodes_holds_nothing_new():
    settling = Settling(3.0)
    settling.know(TAKE, STAMP)
    settling.see(TAKE, None, 1.0)
    settling.see(TAKE, replace(STAMP, device=9, inode=4711), 10.0)
    assert not settling.waiting


def test_a_file_saved_over_a_known_one_is_new():
    settling = Settling(3.0)
    settling.know(TAKE, STAMP)
    settling.see(TAKE, Stamp(1000, 9_000, device=1, inode=8), 10.0)
    assert ready_paths(settling, 13.0) == [TAKE]


def test_without_inodes_a_twin_by_size_and_time_is_new():
    settling = Settling(3.0)
    settling.know(TAKE, replace(STAMP, inode=0))
    other = TAKE.with_name("other.wav")
    settling.see(other, replace(STAMP, inode=0), 10.0)
    assert settling.waiting == (other,)


def test_the_first_written_comes_first():
    settling = Settling(1.0)
    later, earlier = Path("a.wav"), Path("b.wav")
    settling.see(later, Stamp(5, 200, 1, 1), 0.0)
    settling.see(earlier, Stamp(5, 100, 1, 2), 0.0)
    assert ready_paths(settling, 2.0) == [earlier, later]


def test_what_goes_is_not_waited_for():
    settling = Settling(1.0)
    settling.see(TAKE, STAMP, 0.0)
    settling.see(TAKE, None, 0.5)
    assert not settling.waiting
    assert not settling.ready(10.0)


def test_an_unreadable_file_is_tried_again_then_given_up_until_it_changes():
    settling, now_s = Settling(1.0), 1.0
    settling.see(TAKE, STAMP, 0.0)
    for pause_s in RETRY_AFTER_S:
        assert ready_paths(settling, now_s) == [TAKE]
        assert not settling.failed(TAKE, now_s)
        assert not settling.ready(now_s + pause_s - 0.1)
        now_s += pause_s
    assert settling.failed(TAKE, now_s)
    settling.see(TAKE, STAMP, now_s + 1000.0)
    assert not settling.waiting
    settling.see(TAKE, replace(STAMP, size=4000, modified_ns=6_000), now_s + 2000.0)
    assert settling.waiting == (TAKE,)


def test_what_is_put_off_is_never_given_up():
    settling = Settling(1.0)
    settling.see(TAKE, STAMP, 0.0)
    for attempt in range(10):
        settling.put_off(TAKE, float(attempt))
        assert not settling.ready(attempt + 0.5)
    assert ready_paths(settling, 10.0) == [TAKE]
