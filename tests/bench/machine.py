"""What the benches print about where they run."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import time
from datetime import date
from pathlib import Path

_PACKAGES = ("numpy", "PySide6-Essentials", "sounddevice", "rtmixer", "soundfile")


def describe() -> str:
    """The machine, what else it is doing, and the versions: one line each."""
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in _PACKAGES)
    return (
        f"{date.today().isoformat()}: {processor()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, "
        f"{platform.platform()}\nPython {platform.python_version()}, {versions}"
    )


def processor() -> str:
    """What the system calls its processor."""
    file = Path("/proc/cpuinfo")
    lines = file.read_text().splitlines() if file.exists() else []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


def memory_mb() -> float:
    """What this process holds now."""
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def private_mb() -> float:
    """What of it no other process shares: without the pages of libraries."""
    with open("/proc/self/smaps_rollup", encoding="ascii") as file:
        lines = [line.split() for line in file]
    return sum(int(line[1]) for line in lines if line[0].startswith("Private_")) * 1024 / 1e6


def yardstick() -> float:
    """The share of a core that the chain alone takes now, two channels at 48 kHz."""
    import numpy as np

    from dsp.chain import Chain

    chain, seconds = Chain(48_000, 2), 5
    hop = np.random.default_rng(1).normal(0.0, 0.002, (480, 2)).astype(np.float32)
    began_s = time.thread_time()
    for _ in range(100 * seconds):
        chain.process(hop)
    return (time.thread_time() - began_s) / seconds
