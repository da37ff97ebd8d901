"""The page about recorded files: measured when they are dropped, and the folder that is watched."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QScrollArea,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.engine.snapshot import Snapshot
from app.window.actions import Action
from app.window.controls import Button, Choice, announce
from app.window.emptyplace import EmptyPlace
from app.window.filecard import FileCard
from app.window.filerun import FileRun
from app.window.filestable import FilesTable
from app.window.folderpanel import FolderPanel
from app.window.pages import Page, PageTools
from app.window.theme import GAP, MARGIN, UNIT, Theme
from app.words import filespage as words

NAME = "files"
_ENDINGS = ("wav", "flac", "aiff", "aif", "ogg", "opus", "mp3", "w64", "rf64", "caf", "au")
_WHOLE = 1000


class FilesPage(Page):
    """Left the files, right what to do about the chosen one, and the watched folder."""

    def __init__(self, tools: PageTools) -> None:
        super().__init__()
        self.setProperty("panel", True)
        self._tools = tools
        self._services = tools.services.takes
        self.run: FileRun | None = None
        self._shown = 0
        self._told = True
        self._make(tools.theme)
        self._arrange()
        tools.actions.add(
            Action("files_choose", words.files_action(), self.choose_files, ("O",), NAME),
            Action("files_folder", words.folder_action(), self.choose_folder, ("Ctrl+O",), NAME),
            Action("files_watch", words.watch_action(), self.folder.toggle, ("W",), NAME),
            Action("files_cancel", words.cancel_action(), self.cancel, ("Ctrl+.",), NAME),
        )
        self.set_theme(tools.theme)
        self._show()

    # Putting together

    def _make(self, theme: Theme) -> None:
        self.files_button = Button(words.choose_files(), tip=words.choose_files_tip())
        self.files_button.clicked.connect(lambda _checked: self.choose_files())
        self.folder_button = Button(words.choose_folder(), tip=words.choose_folder_tip())
        self.folder_button.clicked.connect(lambda _checked: self.choose_folder())
        self.part = Choice(6)
        self.part.setAccessibleName(words.part_label())
        self.part.setToolTip(words.part_label())
        for part in self._tools.services.parts:
            self.part.addItem(part.label, part.key)
        chosen = self._tools.services.settings.get("part") or self._tools.services.default_part
        self.part.setCurrentIndex(max(0, self.part.findData(chosen)))
        self.bar = QProgressBar()
        self.bar.setRange(0, _WHOLE)
        self.bar.setTextVisible(False)
        self.cancel_button = Button(words.cancel())
        self.cancel_button.clicked.connect(lambda _checked: self.cancel())
        self.state = QLabel()
        self.state.setWordWrap(True)
        self.state.setProperty("quiet", True)
        self.table = FilesTable(theme)
        self.table.selectionModel().selectionChanged.connect(lambda *_: self._choose())
        self.hint = EmptyPlace(words.drop_hint(), theme)
        self.card = FileCard(theme)
        self.folder = FolderPanel(self._services.folder, theme)
        self.folder.folder_wanted.connect(self.choose_watched)
        self.stops = (
            self.files_button,
            self.folder_button,
            self.part,
            self.cancel_button,
            self.table,
            self.card.clips,
            *self.folder.stops,
        )

    def _arrange(self) -> None:
        head = QHBoxLayout()
        head.setSpacing(2 * UNIT)
        head.addWidget(self.files_button)
        head.addWidget(self.folder_button)
        self._judged = QLabel(words.part_label())
        self._judged.setBuddy(self.part)
        head.addWidget(self._judged)
        head.addWidget(self.part, 1)
        self._progress = QWidget()
        progress = QGridLayout(self._progress)
        progress.setContentsMargins(0, 0, 0, 0)
        progress.setSpacing(2 * UNIT)
        progress.addWidget(self.bar, 0, 0)
        progress.addWidget(self.cancel_button, 0, 1)
        progress.setColumnStretch(0, 1)
        self._body = QStackedWidget()
        self._body.addWidget(self.hint)
        self._body.addWidget(self.table)
        left = QVBoxLayout()
        left.setSpacing(2 * UNIT)
        left.addLayout(head)
        left.addWidget(self._progress)
        left.addWidget(self.state)
        left.addWidget(self._body, 1)
        inner = QWidget()
        inner.setObjectName("about-files")
        right = QVBoxLayout(inner)
        right.setContentsMargins(0, 0, UNIT, 0)
        right.setSpacing(MARGIN)
        right.addWidget(self.card, 1)
        line = QFrame()
        line.setFrameShape(QFrame.Shape.HLine)
        line.setFixedHeight(1)
        self._line = line
        right.addWidget(line)
        right.addWidget(self.folder, 1)
        self._right = QScrollArea()
        self._right.setWidgetResizable(True)
        self._right.setFrameShape(QFrame.Shape.NoFrame)
        self._right.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._right.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._right.setWidget(inner)
        self._columns = columns = QHBoxLayout(self)
        columns.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        columns.setSpacing(MARGIN)
        columns.addLayout(left)
        columns.addWidget(self._right)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the type from a theme."""
        c = theme.palette
        self._judged.setVisible(not theme.has_large_texts)
        for column, share in enumerate((50, 50) if theme.has_large_texts else (64, 36)):
            self._columns.setStretch(column, share)
        for part in (self.table, self.card, self.folder, self.hint):
            part.set_theme(theme)
        self._right.setStyleSheet(
            f"QScrollArea, QWidget#about-files {{ background: {c.panel}; border: none; }}"
        )
        self._line.setStyleSheet(f"background: {c.edge}; border: none;")
        self.bar.setStyleSheet(
            f"QProgressBar {{ background: {c.control}; border: 1px solid {c.edge}; border-radius: 4px;"
            f" min-height: {2 * UNIT}px; max-height: {2 * UNIT}px; }}"
            f"QProgressBar::chunk {{ background: {c.shallow}; border-radius: 3px; }}"
        )

    # What the window brings

    def take_paths(self, paths: Sequence[Path]) -> None:
        """Measure these."""
        self.measure(paths)

    def show_state(self, snapshot: Snapshot, now_s: float, channel: int) -> None:  # noqa: ARG002 - a page's signature
        """Show how far everything is."""
        self.folder.show_state()
        self._show()

    def step_back(self) -> bool:
        """Esc first ends the measuring."""
        if self.run is not None and self.run.running:
            self.cancel()
            return True
        return False

    def shut_down(self) -> None:
        """End what is measured."""
        if self.run is not None:
            self.run.shut_down()

    # What the user does

    def measure(self, paths: Sequence[Path]) -> None:
        """Measure files and folders, instead of what is measured now."""
        if not paths:
            return
        if self.run is not None:
            self.run.cancel()
        self.table.files.clear()
        self.card.show_outcome(None)
        self._shown, self._told = 0, False
        self.run = FileRun(self._services.check(list(paths), self.part.currentData() or ""))
        self._show()

    def cancel(self) -> None:
        """Measure no more; what is done stays."""
        if self.run is not None:
            self.run.cancel()

    def choose_files(self) -> None:
        """Ask for files."""
        dialog = self._dialog(words.choose_files(), QFileDialog.FileMode.ExistingFiles)
        dialog.setNameFilter(f"{words.sound_files()} ({' '.join(f'*.{ending}' for ending in _ENDINGS)})")
        dialog.filesSelected.connect(lambda names: self.measure([Path(name) for name in names]))
        dialog.open()

    def choose_folder(self) -> None:
        """Ask for a folder."""
        dialog = self._dialog(words.choose_folder(), QFileDialog.FileMode.Directory)
        dialog.fileSelected.connect(lambda name: self.measure([Path(name)]))
        dialog.open()

    def choose_watched(self) -> None:
        """Ask for the folder to watch."""
        dialog = self._dialog(words.watch_folder(), QFileDialog.FileMode.Directory)
        dialog.fileSelected.connect(lambda name: self.watch(Path(name)))
        dialog.open()

    def watch(self, folder: Path) -> None:
        """Watch a folder from now on."""
        part = self.part.currentData() or ""
        self._services.folder.begin(folder, part, existing=self.folder.existing.isChecked())
        self.folder.show_state()

    def _dialog(self, title: str, mode: QFileDialog.FileMode) -> QFileDialog:
        dialog = QFileDialog(self, title)
        dialog.setFileMode(mode)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        return dialog

    # What is shown

    def _show(self) -> None:
        run = self.run
        running = run is not None and run.running
        self._progress.setVisible(running)
        self._body.setCurrentIndex(0 if run is None else 1)
        for part in (self.card, self._line):
            part.setVisible(run is not None)
        if run is None:
            self.state.hide()
            return
        new = run.outcomes[self._shown :]
        self._shown += len(new)
        self.table.files.add(new)
        if new:
            self.table.setAccessibleName(words.list_name(self._shown))
        step = run.step
        self.state.show()
        if running:
            self.bar.setValue(round(_WHOLE * step.share) if step is not None else 0)
            self.state.setText(
                words.looking() if step is None else words.progress(step.done, step.total, step.seconds_left)
            )
            self.bar.setAccessibleName(self.state.text())
        elif not self._told:
            self._told = True
            self.state.setText(self._outcome(run))
            announce(self, self.state.text())
            if run.problem is not None:
                self._tools.tell(run.problem)

    def _outcome(self, run: FileRun) -> str:
        if run.cancelled:
            return words.stopped(len(run.outcomes))
        checks = [outcome.check for outcome in run.outcomes if outcome.check is not None]
        to_act_on = sum(check.needs_action for check in checks)
        return words.finished(len(checks) - to_act_on, to_act_on, len(run.outcomes) - len(checks))

    def _choose(self) -> None:
        rows = self.table.selectionModel().selectedRows()
        self.card.show_outcome(self.table.files.outcome(rows[0].row()) if rows else None)
