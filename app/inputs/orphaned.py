"""A thread that waits for a lock whose holder has ended: found, and let go on.

PortAudio's thread for ALSA takes a lock before it starts the device, and hands it back when the device runs
(``CallbackThreadFunc``, PortAudio 19.6). When the sound server dies in between, the thread ends with the lock
in its hands. Whoever started the stream waits for a second at most, but has to take that lock to wake up from
it, and so ``Pa_StartStream`` never returns: no device could ever be opened again.

The lock's holder is written in the lock (glibc, 64 bit). If no such thread lives, nobody else will ever let
it go, and nothing that it guards is being changed.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import struct
import sys
from pathlib import Path

_FUTEX = {"x86_64": 202, "aarch64": 98}
_WAIT_PRIVATE = 0x80
_MUTEX = struct.Struct("iIiIi")
"""glibc's ``struct __pthread_mutex_s``, as far as it matters: lock, count, owner, nusers, kind."""
_WAITED_FOR = 2
_NORMAL = 0


def free_orphaned_wait(thread: int) -> bool:
    """Let a thread of this process go on if it waits for a plain lock whose holder has ended.

    Parameters
    ----------
    thread
        Its number with the system (``threading.Thread.native_id``).

    Returns
    -------
    bool
        Whether it did. Always False on other systems than Linux with glibc on 64 bits.
    """
    address = _orphan(thread)
    if address is None or address != _orphan(thread):  # it goes on by itself
        return False
    # POSIX leaves it open what unlocking another thread's lock does; in glibc it is free afterwards.
    return bool(ctypes.CDLL(None).pthread_mutex_unlock(ctypes.c_void_p(address)) == 0)


def _orphan(thread: int) -> int | None:
    """The address of such a lock."""
    number = _FUTEX.get(os.uname().machine) if sys.platform.startswith("linux") else None
    if number is None or not _is_glibc():
        return None
    with contextlib.suppress(OSError, ValueError):  # it has ended, or the kernel does not tell
        call = Path(f"/proc/self/task/{thread}/syscall").read_text().split()
        if len(call) < 4 or int(call[0]) != number:
            return None
        address, operation, value = (int(word, 16) for word in call[1:4])
        if (operation, value) != (_WAIT_PRIVATE, _WAITED_FOR):
            return None
        with open("/proc/self/mem", "rb", buffering=0) as memory:  # which cannot crash, wherever it points
            lock, count, owner, _users, kind = _MUTEX.unpack(os.pread(memory.fileno(), _MUTEX.size, address))
        held = (lock, count, kind) == (_WAITED_FOR, 0, _NORMAL) and owner > 0
        if held and not Path(f"/proc/self/task/{owner}").exists():
            return address
    return None


def _is_glibc() -> bool:
    with contextlib.suppress(ValueError, OSError):
        return (os.confstr("CS_GNU_LIBC_VERSION") or "").startswith("glibc")
    return False
