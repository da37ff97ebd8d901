"""Records from a device in a process of its own, and writes down what came: run by the tests in this folder.

Prints ``recording`` once the device is open and delivers, then what happens as it happens.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
import time
from pathlib import Path

import numpy as np

from app.inputs.capture import CCapture, PythonCapture
from app.inputs.device import DeviceSource
from app.inputs.returning import ReturningSource
from app.inputs.spec import parse_spec


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def hold_the_lock() -> None:
    """Keep every other Python thread waiting for about 50 ms, again and again."""
    text = "ab" * 1_000_000
    began_s = time.perf_counter()
    text.replace("a", "cd")  # one call in C that does not let go of the lock
    times = max(1, round(0.050 / (time.perf_counter() - began_s)))
    text *= times
    while True:
        text.replace("a", "cd")
        time.sleep(0.02)


def main() -> None:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("spec")
    arguments.add_argument("--way", choices=("c", "python"), default="c")
    arguments.add_argument("--rate", type=float)
    arguments.add_argument("--seconds", type=float, default=3.0)
    arguments.add_argument("--ring", type=int, default=0, help="frames in the ring")
    arguments.add_argument(
        "--away-at", type=float, nargs="*", default=[], help="seconds at which to stop reading"
    )
    arguments.add_argument("--away-for", type=float, default=0.0)
    arguments.add_argument("--hop", type=int, default=480)
    arguments.add_argument(
        "--busy", action="store_true", help="hold the interpreter's lock in bursts of 50 ms"
    )
    arguments.add_argument("--reopen", action="store_true", help="have it come back by itself")
    arguments.add_argument("--to", type=Path)
    options = arguments.parse_args()

    class SmallC(CCapture):
        def __init__(self, sd: object, request: object) -> None:
            super().__init__(sd, request, options.ring)

    class SmallPython(PythonCapture):
        def __init__(self, sd: object, request: object) -> None:
            super().__init__(sd, request, options.ring)

    way = {"c": SmallC, "python": SmallPython}[options.way]
    source = DeviceSource(parse_spec(options.spec), rate_hz=options.rate, ways=(way,))
    if options.reopen:
        source = ReturningSource(source)
    stop = []
    signal.signal(signal.SIGTERM, lambda *_: stop.append(1))
    if options.busy:
        threading.Thread(target=hold_the_lock, daemon=True).start()
    source.start()
    began_s = time.monotonic()
    cpu_s = time.process_time()
    parts, gaps, sizes = [], [], []
    frame = 0
    inactive_s = None
    away = sorted(options.away_at)
    said = False
    gone = False
    while time.monotonic() - began_s < options.seconds and not stop:
        if away and time.monotonic() - began_s >= away[0]:
            away.pop(0)
            time.sleep(options.away_for)
        block = source.read(options.hop, 0.1)
        frame += block.lost_frames
        if block.lost_frames:
            gaps.append((frame, block.lost_frames))
        if block.samples.shape[0]:
            parts.append(block.samples.copy())
            sizes.append(block.samples.shape[0])
            frame += block.samples.shape[0]
            if not said:
                say("recording")
                said = True
        if not block.active and not gone:
            gone, inactive_s = True, time.time()
            say("gone")
            if not options.reopen:
                break
        elif gone and block.samples.shape[0]:
            gone = False
            say("back")
    took_s = time.monotonic() - began_s
    cpu_s = time.process_time() - cpu_s
    stats, info = source.stats(), source.info
    closing_s = time.monotonic()
    source.close()
    result = {
        "spec": info.spec,
        "rate_hz": info.rate_hz,
        "channels": info.channels,
        "note": info.note,
        "gaps": gaps,
        "largest_read": max(sizes, default=0),
        "frames_with_gaps": frame,
        "inactive_s": inactive_s,
        "took_s": took_s,
        "cpu_share": cpu_s / took_s,
        "closing_s": time.monotonic() - closing_s,
        "stats": {name: getattr(stats, name) for name in stats.__slots__},
    }
    if options.to:
        np.save(
            options.to.with_suffix(".npy"), np.concatenate(parts) if parts else np.empty((0, info.channels))
        )
        options.to.with_suffix(".json").write_text(json.dumps(result))


if __name__ == "__main__":
    main()
