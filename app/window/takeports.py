"""What the pages about takes, files and folders need from the rest of the program."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from app.coach.parts import find_part
from app.errors import UsageError
from app.inputs.outputs import FakeOutput
from app.inputs.playback import Headphones
from app.words import log as words

if TYPE_CHECKING:
    from app.check.many import Step
    from app.log.edit import Moved
    from app.log.folder import FolderNews, FolderView
    from app.log.records import SessionRow, TakeDetail, TakeEvent, TakeRow


class Book(Protocol):
    """What the page needs of :class:`app.log.book.TakeBook`. Reading may wait for a disk."""

    @property
    def revision(self) -> int:
        """Changes whenever what is shown of the log should be read again."""
        ...

    def numbers(
        self, *, search: str = "", session: int | None = None, kept_only: bool = False
    ) -> Sequence[int]:
        """The numbers of the takes that fit, the newest first."""
        ...

    def takes_of(self, numbers: Sequence[int]) -> Sequence[TakeRow]:
        """These takes; those that are gone are left out."""
        ...

    def take(self, number: int) -> TakeDetail:
        """Everything about one take."""
        ...

    def sessions(self) -> Sequence[SessionRow]:
        """Sessions that have takes, the newest first."""
        ...

    def evidence_of(self, take: TakeDetail, event: TakeEvent) -> Path | None:
        """The sound around a clip, where it was kept."""
        ...

    def rename(self, number: int, name: str) -> None:
        """Give a take another name."""
        ...

    def set_notes(self, number: int, notes: str) -> None:
        """Write something about a take."""
        ...

    def mark(self, number: int, kept: bool) -> None:
        """Mark a take as one to keep, or not."""
        ...

    def delete(self, numbers: Sequence[int]) -> None:
        """Put takes away."""
        ...

    def restore(self, numbers: Sequence[int]) -> None:
        """Bring deleted takes back."""
        ...

    def move(self, numbers: Sequence[int], session: int | None) -> Moved:
        """Put takes into another session, or into a new one."""
        ...

    def move_back(self, moved: Moved) -> None:
        """Undo that."""
        ...

    def begin_session(self, name: str = "") -> None:
        """Begin a session."""
        ...

    def rename_session(self, session: int, name: str) -> None:
        """Give a session a name."""
        ...


class EmptyBook:
    """A log without takes, for a window that has none."""

    revision = 0

    def numbers(self, *, search: str = "", session: int | None = None, kept_only: bool = False) -> list[int]:  # noqa: ARG002, D102
        return []

    def takes_of(self, numbers: Sequence[int]) -> list[TakeRow]:  # noqa: ARG002, D102
        return []

    def take(self, number: int) -> TakeDetail:  # noqa: D102
        raise UsageError(words.no_such_take(number))

    def sessions(self) -> list[SessionRow]:  # noqa: D102
        return []

    def evidence_of(self, take: TakeDetail, event: TakeEvent) -> None:  # noqa: ARG002, D102
        return None

    def rename(self, number: int, name: str) -> None:  # noqa: D102
        pass

    def set_notes(self, number: int, notes: str) -> None:  # noqa: D102
        pass

    def mark(self, number: int, kept: bool) -> None:  # noqa: D102
        pass

    def delete(self, numbers: Sequence[int]) -> None:  # noqa: D102
        pass

    def restore(self, numbers: Sequence[int]) -> None:  # noqa: D102
        pass

    def move(self, numbers: Sequence[int], session: int | None) -> Moved:  # noqa: ARG002, D102
        return {}

    def move_back(self, moved: Moved) -> None:  # noqa: D102
        pass

    def begin_session(self, name: str = "") -> None:  # noqa: D102
        pass

    def rename_session(self, session: int, name: str) -> None:  # noqa: D102
        pass


class FileCheckRun(Protocol):
    """What the page needs of :class:`app.check.many.Checking`."""

    def cancel(self) -> None:
        """End it: from any thread, and again."""
        ...

    def __iter__(self) -> Generator[Step, None, None]:
        """Yield a step for every file that is done, and others between them."""
        ...


class FolderDesk(Protocol):
    """Watches one folder, or none. No call blocks for longer than it takes to stop."""

    @property
    def view(self) -> FolderView | None:
        """How the watched folder stands; None while none is watched."""
        ...

    @property
    def news(self) -> Sequence[FolderNews]:
        """What became of the newest files, the last one last."""
        ...

    def begin(self, folder: Path, part: str, *, existing: bool = False) -> None:
        """Watch this folder from now on, and when the program is opened again."""
        ...

    def end(self) -> None:
        """Watch no more."""
        ...


class NoFolder:
    """No folder is ever watched."""

    view = None
    news: Sequence[FolderNews] = ()

    def begin(self, folder: Path, part: str, *, existing: bool = False) -> None:  # noqa: D102
        pass

    def end(self) -> None:  # noqa: D102
        pass


def _check(paths: Sequence[Path], part: str) -> FileCheckRun:
    from app.check.many import Checking  # late: the first picture does not wait for it

    try:
        profile = find_part(part)
    except UsageError:
        profile = find_part("other")
    return Checking(paths, profile, background=True)


@dataclass(frozen=True)
class TakesServices:
    """By itself the log is empty, nothing is watched, and nobody hears anything."""

    book: Book = field(default_factory=EmptyBook)
    headphones: Headphones = field(default_factory=lambda: Headphones(lambda _name: FakeOutput()))
    """Plays the sound that was kept around clips."""
    check: Callable[[Sequence[Path], str], FileCheckRun] = _check
    """Makes a run over files and folders, for a part by its key; iterated on a thread of its own."""
    folder: FolderDesk = field(default_factory=NoFolder)
    """Watches the folder that recordings land in."""
