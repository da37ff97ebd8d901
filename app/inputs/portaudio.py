"""The audio-control thread: the one owner of PortAudio.

PortAudio is specified for one thread, and on Windows a device opened from another thread than the one that
initialised the library fails with misleading errors. So one thread imports sounddevice (which initialises
PortAudio) and makes every call to it, through a queue. The import is late: a machine without PortAudio, or
one whose driver hangs, still opens files and the built-in player.

Threads: any thread may call :meth:`AudioControl.call`, :meth:`AudioControl.post` and
:meth:`AudioControl.shutdown`. What they hand over runs in the control thread; it must not wait for the thread
that handed it over. A driver that hangs takes the control thread with it and nothing else: whoever waits gets
an error when the time is over, and the thread is a daemon, so that the program can still end. One hang can be
ended: whoever waits looks for it (:mod:`app.inputs.orphaned`).
"""

from __future__ import annotations

import atexit
import contextlib
import ctypes
import logging
import platform
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, wait
from typing import Any, TypeVar

from app.errors import DeviceError, SilentSystemError
from app.inputs.orphaned import free_orphaned_wait
from app.words import inputs as words

CALL_LIMIT_S = 3.0
"""How long whoever calls waits for an answer: opening, stopping and closing have to fit in."""
START_LIMIT_S = 20.0
"""How long PortAudio may take to look at every driver when it starts."""
_LOOK_S = 0.25
"""How often whoever waits looks whether the control thread waits for a lock that nobody will ever let go."""
_LEAST_JOIN_S = 0.1
_RELIST_AGE_S = 2.0
"""A list of devices that is no older than this is taken as fresh."""

T = TypeVar("T")
_log = logging.getLogger(__name__)


class AudioControl:
    """Runs functions in the one thread that may talk to PortAudio.

    Parameters
    ----------
    load
        Imports sounddevice and returns it; a test brings a module of its own.
    """

    def __init__(self, load: Callable[[], Any] | None = None) -> None:
        self._load = load or _import_sounddevice
        self._queue: queue.SimpleQueue[tuple[Callable[[Any], Any], Future[Any]] | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._starting = threading.Lock()
        self._closed = False
        # From here on only the control thread writes; others may look at busy_since_s.
        self._sd: Any = None
        self._busy_since_s: float | None = None
        self._open_streams: dict[int, object] = {}
        self._listed_s = float("-inf")
        self._relist_wanted = False

    def call(
        self,
        function: Callable[[Any], T],
        *,
        limit_s: float = CALL_LIMIT_S,
        undo: Callable[[T], None] | None = None,
        too_late: Callable[[float], str] = words.sound_system_hangs,
    ) -> T:
        """Run ``function(sounddevice)`` in the control thread and wait for what it returns.

        Parameters
        ----------
        function
            Gets the module sounddevice.
        limit_s
            Seconds to wait; :data:`START_LIMIT_S` more while PortAudio has not started yet.
        undo
            Puts right, in the control thread, what comes out after nobody waits any more: closes a stream
            that a slow driver has opened too late.
        too_late
            The sentence for when no answer came within some seconds.

        Raises
        ------
        app.errors.DeviceError
            When there is no PortAudio.
        app.errors.SilentSystemError
            When no answer came in time.
        """
        if threading.current_thread() is self._thread:
            return function(self._ready())
        busy_since_s = self._busy_since_s
        if busy_since_s is not None and time.monotonic() - busy_since_s > START_LIMIT_S + CALL_LIMIT_S:
            raise SilentSystemError(too_late(CALL_LIMIT_S))  # hangs already; do not wait again
        future = self.post(function)
        if self._is_done(future, limit_s) or (not future.cancel() and future.done()):
            return future.result()
        if undo is not None and not future.cancelled():
            future.add_done_callback(lambda late: self._put_right(late, undo))
        raise SilentSystemError(too_late(limit_s))

    def post(self, function: Callable[[Any], T]) -> Future[T]:
        """Have ``function(sounddevice)`` run in the control thread, without waiting for it."""
        future: Future[T] = Future()
        with self._starting:
            if self._closed:
                future.set_exception(DeviceError(words.sound_system_closed()))
                return future
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="audio-control", daemon=True)
                self._thread.start()
            self._queue.put((function, future))
        return future

    def shutdown(self, limit_s: float = CALL_LIMIT_S) -> bool:
        """Let PortAudio go and end the thread; False when a driver did not let it end in time."""
        with self._starting:
            self._closed = True
            thread = self._thread
            if thread is not None:
                self._queue.put(None)
        if thread is None or thread is threading.current_thread():
            return True
        busy_since_s = self._busy_since_s
        if busy_since_s is not None:  # it has been waited for already
            limit_s = max(_LEAST_JOIN_S, limit_s - (time.monotonic() - busy_since_s))
        thread.join(limit_s)
        if not thread.is_alive():
            return True
        # The driver may go on while this process takes itself apart: one reference too many keeps the ring
        # that it writes into, and the library that it runs in, to the very end.
        for needed in (*self._open_streams.values(), getattr(self._sd, "_lib", None)):
            ctypes.pythonapi.Py_IncRef(ctypes.py_object(needed))
        return False

    # For functions that run in the control thread.

    def stream_opened(self, stream: object) -> None:
        """Remember that a stream is open, so that the list of devices stays as it is."""
        self._open_streams[id(stream)] = stream

    def stream_closed(self, stream: object) -> None:
        """Forget a stream, and carry out the re-listing that waited for it."""
        self._open_streams.pop(id(stream), None)
        if self._relist_wanted and not self._open_streams:
            self.relist(older_than_s=0.0)

    def distrust_list(self) -> None:
        """Take the list of devices as old from now on, because one of them has gone."""
        self._listed_s = float("-inf")

    def relist(self, *, older_than_s: float = _RELIST_AGE_S) -> bool:
        """Have PortAudio look for devices again, unless it did just now.

        PortAudio lists devices only when it is initialised, and ending it closes every stream. While a
        stream is open nothing is touched: the wish is kept until the last one is closed.

        Returns
        -------
        bool
            Whether the list is fresh.
        """
        sd = self._ready()
        if time.monotonic() - self._listed_s <= older_than_s:
            return True
        if self._open_streams:
            self._relist_wanted = True
            return False
        # Not public in sounddevice, and there is no other way; the test suite holds them to what they do.
        terminate, initialize = getattr(sd, "_terminate", None), getattr(sd, "_initialize", None)
        if terminate is None or initialize is None:
            return False
        self._sd = None  # _ready() starts PortAudio again if that fails here
        try:
            terminate()
            initialize()
        except sd.PortAudioError as error:
            raise DeviceError(words.portaudio_failed(), str(error)) from error
        self._sd = sd
        self._listed_s = time.monotonic()
        self._relist_wanted = False
        return True

    # Whoever waits.

    def _is_done(self, future: Future[T], limit_s: float) -> bool:
        """Wait for it, ``limit_s`` from when PortAudio has started; False when it took longer."""
        began_s = counted_s = time.monotonic()
        while not future.done():
            now_s = time.monotonic()
            if self._sd is None and now_s - began_s < START_LIMIT_S:
                counted_s = now_s
            if now_s - counted_s >= limit_s:
                return False
            wait((future,), min(_LOOK_S, counted_s + limit_s - now_s))
            self._free_control_thread()
        return True

    def _free_control_thread(self) -> None:
        thread = self._thread
        if thread is not None and thread.native_id is not None and free_orphaned_wait(thread.native_id):
            _log.warning("PortAudio waited for a thread of its own that had ended; it was let go on")

    # The thread.

    def _run(self) -> None:
        while (item := self._queue.get()) is not None:
            function, future = item
            if not future.set_running_or_notify_cancel():
                continue
            self._busy_since_s = time.monotonic()
            try:
                result = function(self._ready())
            except BaseException as error:  # it belongs to whoever called
                future.set_exception(error)
            else:
                future.set_result(result)
            finally:
                self._busy_since_s = None
            del item, function, future  # they may hold a stream that somebody wants to let go of
        if self._sd is not None:
            with contextlib.suppress(Exception):  # at the very end there is nobody left to tell
                self._sd._terminate()

    def _ready(self) -> Any:
        """Get sounddevice, with PortAudio running."""
        if self._sd is None:
            self._sd = self._load()
            self._listed_s = time.monotonic()
        return self._sd

    def _put_right(self, late: Future[T], undo: Callable[[T], None]) -> None:
        if late.exception() is None:
            self.post(lambda _: undo(late.result()))


def _import_sounddevice() -> Any:
    """Import sounddevice, which loads and initialises PortAudio."""
    try:
        import sounddevice as sd  # late, see above
    except OSError as error:
        raise DeviceError(words.no_portaudio(platform.system()), str(error)) from error
    except Exception as error:  # PortAudioError, which cannot be named before the import worked
        raise DeviceError(words.portaudio_failed(), str(error)) from error
    # Its own exit handler would end PortAudio from the main thread, and wait for a driver that hangs.
    handler = getattr(sd, "_exit_handler", None)
    if handler is not None:
        atexit.unregister(handler)
    if getattr(sd, "_initialized", 1) == 0:  # a re-listing failed half-way
        sd._initialize()
    return sd


_control: AudioControl | None = None
_making = threading.Lock()


def control() -> AudioControl:
    """Get the one audio-control thread of this process; it starts with the first call to it."""
    global _control  # noqa: PLW0603 -- PortAudio itself exists once per process
    with _making:
        if _control is None:
            _control = AudioControl()
            atexit.register(_control.shutdown)
        return _control
