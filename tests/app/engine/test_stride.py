"""How many hops are taken at once: one read ends just before each look."""

from __future__ import annotations

import pytest

from app.engine.stride import Stride

HOP_S = 0.010


def _looked_at(every_s: float, seconds: float = 3.0, first_s: float = 0.0) -> tuple[list[int], list[float]]:
    """The sizes of the reads, and how old the newest hop was at each look, in a stream without delays."""
    stride, sizes, ages = Stride(), [], []
    end_s, look_s = 0.0, first_s + every_s
    stride.look_at(look_s, every_s)
    while end_s < seconds:
        hops = stride.hops(end_s, HOP_S)
        if end_s + hops * HOP_S > look_s:  # not there when somebody looks
            ages.append(look_s - end_s)
            look_s += every_s
            stride.look_at(look_s, every_s)
        sizes.append(hops)
        end_s += hops * HOP_S
    return sizes, ages


def test_until_somebody_says_when_it_looks_hops_come_one_by_one():
    assert Stride().hops(5.0, HOP_S) == 1


@pytest.mark.parametrize("every_s", [0.016, 0.020, 0.032, 0.0333, 0.050])
@pytest.mark.parametrize("first_s", [0.0, 0.0021, 0.0077])
def test_what_is_seen_is_as_new_as_with_single_hops(every_s, first_s):
    sizes, ages = _looked_at(every_s, first_s=first_s)
    # A hop, and what is left for measuring it.
    assert max(ages) <= HOP_S + 0.003 + 1e-9
    assert len(sizes) <= 1.1 * 3.0 / every_s


def test_looks_more_often_than_hops_get_each_hop_at_once():
    sizes, _ = _looked_at(0.007)
    assert set(sizes) == {1}


def test_nobody_waits_for_more_than_fifty_milliseconds_while_it_is_seen():
    stride = Stride()
    stride.look_at(1.0, 1.0)
    assert stride.hops(0.0, HOP_S) == 5


def test_who_has_stopped_looking_gets_single_hops_until_it_looks_again():
    stride = Stride()
    stride.look_at(1.0, 0.032)
    assert stride.hops(1.005, HOP_S) > 1
    assert stride.hops(1.6, HOP_S) == 1
    stride.look_at(1.7, 0.032)
    assert stride.hops(1.6, HOP_S) == 5


def test_unseen_takes_twenty_hops_and_seen_again_single_ones_until_it_looks():
    stride = Stride()
    stride.look_at(1.0, 0.032)
    stride.set_seen(False)
    assert stride.hops(0.9, HOP_S) == 20
    stride.set_seen(True)
    assert stride.hops(0.9, HOP_S) == 1
