"""Hears a part, advises, and plays the backing, in a process of its own: obeys the lines of its stdin.

Each line is answered with one line of JSON.
"""

from __future__ import annotations

import json
import math
import sys
import time
from pathlib import Path
from typing import Any

from app.check.tracks import measure_track
from app.coach.balance import advise
from app.coach.verdict import Coach
from app.engine.livepart import LivePart
from app.engine.loop import Engine
from app.inputs.outputs import list_outputs
from app.inputs.playback import Turned, headphones
from app.inputs.spec import open_spec


class Balancer:
    """What the page about the balance does, without a window."""

    def __init__(self, backing: Path) -> None:
        self._backing = backing
        self._track = measure_track(backing).track
        self._part = LivePart()
        self._engine = Engine(Coach)
        self._engine.add_listener(self._part)
        self._engine.open(open_spec("device:pulse:1,2", paced=True))

    def obey(self, line: str) -> dict[str, Any]:
        """Carry out one command."""
        return getattr(self, f"_{line.split(maxsplit=1)[0]}")(*line.split()[1:])

    def _ready(self) -> dict[str, Any]:
        while self._engine.snapshot.t_s < 0.2:
            time.sleep(0.01)
        latency_s = self._engine.snapshot.info.latency_s
        return {"outputs": [output.name for output in list_outputs()], "latency_s": latency_s}

    def _advise(self) -> dict[str, Any]:
        played = self._part.measure(math.nan)
        part = played.track if played is not None and played.enough else None
        balance = advise(part, [self._track], placed=False)
        return {
            "playing_s": played.playing_s if played is not None else 0.0,
            "reason": balance.reason.value,
            "pull_down_db": balance.files[0].pull_down_db,
        }

    def _play(self, pull_down_db: str) -> dict[str, Any]:
        playback = headphones().play_along([Turned(self._backing, float(pull_down_db))])
        return {"rate_hz": playback.rate_hz, "latency_s": playback.output.latency_s}

    def _stop(self) -> dict[str, Any]:
        began_s = time.monotonic()
        headphones().stop()
        return {"took_s": time.monotonic() - began_s}

    def _end(self) -> dict[str, Any]:
        headphones().stop()
        return {"ended": self._engine.stop()}


def main() -> None:
    balancer = Balancer(Path(sys.argv[1]))
    for line in sys.stdin:
        sys.stdout.write(json.dumps(balancer.obey(line)) + "\n")
        sys.stdout.flush()
        if line.startswith("end"):
            return


if __name__ == "__main__":
    main()
