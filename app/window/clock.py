"""The clock of the stream: where the chart's right edge stands between two deliveries of an input."""

from __future__ import annotations


class StreamClock:
    """Turns the newest hop, which moves in bursts, into a position that moves evenly.

    It runs at the stream's own pace, is drawn towards the newest hop, never passes it (nothing is shown
    that has not arrived) and jumps when it is far off: after a stall, a new input, or a file at full speed.
    """

    _PULL_PER_S = 30.0
    _JUMP_S = 0.25

    def __init__(self) -> None:
        self._hop = -1.0
        self._now_s = 0.0

    def follow(self, newest_hop: int, hop_s: float, now_s: float) -> int:
        """The hop to show at the right edge at ``now_s`` (``time.monotonic()``); -1 when there is none."""
        elapsed_s = max(0.0, now_s - self._now_s)
        self._now_s = now_s
        behind = newest_hop - self._hop
        if newest_hop < 0 or behind < 0 or behind * hop_s > self._JUMP_S:
            self._hop = float(newest_hop)
            return newest_hop
        step = elapsed_s / hop_s + behind * min(1.0, self._PULL_PER_S * elapsed_s)
        self._hop = min(float(newest_hop), self._hop + step)
        return int(self._hop)
