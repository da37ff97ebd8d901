"""Files that are there wholly or not at all."""

from __future__ import annotations

import contextlib
import os
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Open a file to write that takes the place of ``path`` only once everything is in it.

    Where ``path`` is a link, the file behind it is meant. After an error the old file, if any, is untouched.
    """
    target = path.resolve()
    # Only beside it is a rename one step.
    part = target.with_name(f".swellmark-{uuid.uuid4().hex}.part")
    try:
        with part.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
