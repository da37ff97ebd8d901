"""The page about recorded files, on fakes; the watched folder through its desk, on a real folder."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QAccessible, QDropEvent

from app.check.many import Outcome, Step
from app.check.measure import FileCheck, check_file
from app.cli.folderdesk import FolderDesk
from app.coach.judgement import Target
from app.coach.parts import find_part, shipped_parts
from app.errors import SoundFileError
from app.log import folder as folder_module
from app.log import settling
from app.log.store import Store
from app.log.writer import LogWriter
from app.window.filespage import FilesPage
from app.window.filestable import FileColumn
from app.window.main import MainWindow
from app.window.pagelist import PAGES
from app.window.takeports import TakesServices

RATE_HZ = 48_000


@pytest.fixture(scope="session")
def loud(tmp_path_factory: pytest.TempPathFactory) -> FileCheck:
    """A file that clips."""
    path = tmp_path_factory.mktemp("sounds") / "loud.wav"
    soundfile.write(path, tone(6.0), RATE_HZ)
    return check_file(path, find_part("bass"))


def tone(level_dbfs: float) -> Any:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    return np.clip(10 ** (level_dbfs / 20) * np.sin(2 * np.pi * 110 * t), -1.0, 1.0)


class ScriptedRun:
    """Measures what a test hands it, step by step."""

    def __init__(self, paths: Sequence[Path], part: str) -> None:
        self.paths, self.part = list(paths), part
        self.go_on = threading.Semaphore(0)
        self.cancelled = threading.Event()
        self.steps: list[Step] = []

    def cancel(self) -> None:
        self.cancelled.set()
        self.go_on.release()

    def __iter__(self) -> Any:
        for step in self.steps:
            self.go_on.acquire()
            if self.cancelled.is_set():
                return
            yield step
        self.go_on.acquire()

    def let(self, steps: int) -> None:
        for _ in range(steps):
            self.go_on.release()


class Scene:
    """The page in a window, with the runs that it began."""

    def __init__(self, qtbot: Any, world: Any, loud: FileCheck, **services: Any) -> None:
        self.runs: list[ScriptedRun] = []
        self._loud = loud

        def check(paths: Sequence[Path], part: str) -> ScriptedRun:
            run = ScriptedRun(paths, part)
            broken = SoundFileError("broken.wav: it holds no sound.")
            outcomes = (
                Outcome(Path("loud.wav"), 0, check=loud),
                Outcome(Path("broken.wav"), 1, error=broken),
            )
            run.steps = [
                Step(0, 3, 0.1, None),
                Step(1, 3, 0.4, 72.0, outcomes[0]),
                Step(2, 3, 0.7, 31.0, outcomes[1]),
            ]
            self.runs.append(run)
            return run

        self.window = MainWindow(
            replace(world.services(), takes=TakesServices(check=check, **services)), pages=PAGES
        )
        qtbot.addWidget(self.window)
        self.window.resize(1280, 800)
        self.window.show()
        self.window.activateWindow()
        self.window.pages.go_to("files")
        page = self.window.pages.page("files")
        assert isinstance(page, FilesPage)
        self.page = page


@pytest.fixture
def scene(qtbot: Any, world: Any, loud: FileCheck) -> Iterator[Scene]:
    scene = Scene(qtbot, world, loud)
    yield scene
    for run in scene.runs:
        run.cancel()
    scene.window.shut_down()


def text(page: FilesPage, row: int, column: FileColumn) -> str:
    return str(page.table.files.index(row, column).data())


def test_results_come_as_they_are_ready_with_the_time_left(qtbot: Any, scene: Scene) -> None:
    page = scene.page
    page.measure([Path("loud.wav"), Path("broken.wav"), Path("third.wav")])
    run = scene.runs[0]
    assert run.part == "voice"
    qtbot.waitUntil(page.cancel_button.isVisible)
    run.let(2)
    qtbot.waitUntil(lambda: page.table.files.rowCount() == 1)
    assert "1 of 3 files, 1:12 left" in page.state.text()
    assert page.bar.value() == 400
    assert text(page, 0, FileColumn.VERDICT) == "Awash"
    assert int(text(page, 0, FileColumn.CLIPS)) > 0
    run.let(1)
    qtbot.waitUntil(lambda: page.table.files.rowCount() == 2)
    assert text(page, 1, FileColumn.VERDICT) == "unreadable"
    run.let(1)
    qtbot.waitUntil(lambda: not page.cancel_button.isVisible())
    assert page.state.text() == "1 file measured. 1 asks for something. 1 could not be read."
    assert page.table.accessibleName() == "2 files measured"


def test_the_chosen_file_says_what_to_do(qtbot: Any, scene: Scene, loud: FileCheck) -> None:
    page = scene.page
    page.measure([Path("loud.wav")])
    scene.runs[0].let(4)
    qtbot.waitUntil(lambda: page.table.files.rowCount() == 2)
    page.table.selectRow(0)
    assert "down" in page.card.advice.text()
    assert page.card.clips.count() == sum(len(channel.clips) for channel in loud.channels)
    page.table.selectRow(1)
    assert page.card.advice.text() == "broken.wav: it holds no sound."
    assert not page.card.clips.isVisible()


def test_escape_ends_the_measuring_and_then_the_page(qtbot: Any, scene: Scene) -> None:
    page = scene.page
    page.measure([Path("loud.wav")])
    scene.runs[0].let(2)
    qtbot.waitUntil(lambda: page.table.files.rowCount() == 1)
    qtbot.keyClick(page.table, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: page.run is not None and not page.run.running)
    assert page.isVisible()
    qtbot.waitUntil(lambda: page.state.text() == "Stopped after 1 file.")
    qtbot.keyClick(page.table, Qt.Key.Key_Escape)
    assert not page.isVisible()


def test_new_files_take_the_place_of_those_that_are_measured(qtbot: Any, scene: Scene) -> None:
    page = scene.page
    page.measure([Path("a.wav")])
    scene.runs[0].let(2)
    qtbot.waitUntil(lambda: page.table.files.rowCount() == 1)
    page.measure([Path("b.wav")])
    assert scene.runs[0].cancelled.is_set()
    assert page.table.files.rowCount() == 0
    scene.runs[1].let(4)
    qtbot.waitUntil(lambda: page.table.files.rowCount() == 2)


def test_a_fault_in_the_run_is_told(qtbot: Any, scene: Scene, monkeypatch: Any) -> None:
    def broken(self: ScriptedRun) -> Any:
        yield Step(0, 1, 0.0, None)
        raise OSError("no more processes")

    monkeypatch.setattr(ScriptedRun, "__iter__", broken)
    scene.page.measure([Path("a.wav")])
    qtbot.waitUntil(lambda: any("no more processes" in m.text for m in scene.window.notices.messages))


def test_files_and_folders_may_be_dropped_on_the_board(qtbot: Any, scene: Scene, tmp_path: Path) -> None:
    scene.window.pages.go_to("board")
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(tmp_path)), QUrl.fromLocalFile(str(tmp_path / "a.wav"))])
    scene.window.dropEvent(
        QDropEvent(
            QPointF(50, 50),
            Qt.DropAction.CopyAction,
            data,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
    )
    assert scene.page.isVisible()
    assert scene.runs[0].paths == [tmp_path, tmp_path / "a.wav"]


def test_everything_has_a_name_for_a_screen_reader(scene: Scene) -> None:
    for stop in scene.page.stops:
        interface = QAccessible.queryAccessibleInterface(stop)
        assert interface is not None
        assert interface.text(QAccessible.Text.Name), stop


# The watched folder


@pytest.fixture
def log(tmp_path: Path) -> Iterator[LogWriter]:
    writer = LogWriter(tmp_path / "takes.sqlite")
    yield writer
    assert writer.close()


@pytest.fixture
def inbox(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(folder_module, "_LOOK_EVERY_S", 0.02)
    monkeypatch.setattr(folder_module, "Settling", lambda _settle_s: settling.Settling(0.1))
    folder = tmp_path / "inbox"
    folder.mkdir()
    return folder


@pytest.fixture
def desk(log: LogWriter, world: Any) -> Iterator[FolderDesk]:
    desk = FolderDesk(log, world.memory, shipped_parts(), Target())
    yield desk
    desk.close()


def test_a_folder_is_watched_and_its_state_shown(
    qtbot: Any, world: Any, loud: FileCheck, desk: FolderDesk, log: LogWriter, inbox: Path
) -> None:
    scene = Scene(qtbot, world, loud, folder=desk)
    panel = scene.page.folder
    assert panel.button.accessibleName() == "Watch a folder …"
    assert "No folder is watched" in panel.state.text()
    scene.page.watch(inbox)
    qtbot.waitUntil(lambda: "Watching" in panel.state.text())
    assert panel.button.accessibleName() == "Stop watching"
    soundfile.write(inbox / "take.wav", tone(6.0), RATE_HZ)
    qtbot.waitUntil(lambda: panel.news.count() == 1)
    assert panel.news.item(0).text().startswith("take.wav: Awash")
    assert "1 new take" in panel.counts.text()
    assert log.flush(30.0)
    with Store(log.path) as store:
        assert [row.name for row in store.list_takes()] == ["take"]
    panel.button.click()
    assert desk.view is None
    assert world.memory["watched_folder"] == ""
    scene.window.shut_down()


def test_the_folder_is_watched_again_the_next_time_with_what_came_meanwhile(
    qtbot: Any, world: Any, log: LogWriter, inbox: Path
) -> None:
    first = FolderDesk(log, world.memory, shipped_parts(), Target())
    soundfile.write(inbox / "old.wav", tone(-20.0), RATE_HZ)
    first.begin(inbox, "bass")
    qtbot.waitUntil(lambda: first.view is not None and first.view.known == 1)
    first.close()
    soundfile.write(inbox / "meanwhile.wav", tone(-12.0), RATE_HZ)
    again = FolderDesk(log, world.memory, shipped_parts(), Target())
    again.resume()
    qtbot.waitUntil(lambda: len(again.news) == 1)
    assert again.news[0].path.name == "meanwhile.wav"
    again.close()
    assert log.flush(30.0)
    with Store(log.path) as store:
        assert [row.part for row in store.list_takes()] == ["bass"]


def test_nothing_is_watched_that_nobody_asked_for(desk: FolderDesk) -> None:
    desk.resume()
    assert desk.view is None
