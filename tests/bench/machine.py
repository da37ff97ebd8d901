"""What the benches print about where they run."""

from __future__ import annotations

import importlib.metadata
import os
import platform
from datetime import date
from pathlib import Path

_PACKAGES = ("numpy", "PySide6-Essentials", "pyqtgraph", "sounddevice", "rtmixer", "soundfile")


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
