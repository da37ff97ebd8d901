"""What the banner has to say: what the program notices, what was told, and what was waved away."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog

from app.engine.snapshot import Snapshot
from app.errors import SwellmarkError
from app.window.banner import Banner, Message
from app.window.crash import CrashReports, crash_message
from app.window.messages import messages_for
from app.words import messages as words

_MOST_TOLD = 20


class Notices:
    """Collects messages for the banner and carries out what the user does with them.

    Parameters
    ----------
    log_problem, log_notice
        What keeps the log from being written; what should be known once about it.
    crashes
        Where exceptions that nobody caught are put aside.
    """

    def __init__(
        self,
        banner: Banner,
        log_problem: Callable[[], SwellmarkError | None],
        log_notice: Callable[[], str],
        crashes: CrashReports | None,
    ) -> None:
        self._banner = banner
        self._log_problem, self._log_notice = log_problem, log_notice
        self._crashes = crashes
        self._told: list[Message] = []
        self._waved: set[str] = set()
        self._noticed: set[str] = set()
        self.hint = ""
        """For the first run, until an input was chosen."""
        self.messages: list[Message] = []
        """What there is to say now, the most important first."""
        banner.dismissed.connect(self._wave_away)
        banner.details_wanted.connect(self._save_details)

    def tell(self, error: Exception) -> None:
        """Show an error until it is waved away."""
        if isinstance(error, SwellmarkError):
            self._add(Message(error.sentence, urgent=True, detail=error.detail))
        else:
            self._add(crash_message(error))

    def say(self, text: str) -> None:
        """Show something to know until it is waved away."""
        self._add(Message(text))

    def forget(self) -> None:
        """Another input was opened: what was told is of the past."""
        self._told.clear()
        self._waved.clear()

    def show_state(self, snapshot: Snapshot, now_s: float) -> None:
        """Collect what is new and hand it to the banner."""
        if self._crashes is not None:
            for report in self._crashes.collect():
                self._add(report)
        notice = self._log_notice()
        if notice and notice not in self._noticed:
            self._noticed.add(notice)
            self._add(Message(notice))
        found = messages_for(
            snapshot, now_s, log_problem=self._log_problem(), told=self._told, hint=self.hint
        )
        texts = {message.text for message in found}
        self._waved &= texts  # what went away and comes back is told again
        self.messages = [m for m in found if m.stays or m.text not in self._waved]
        self._banner.show_messages(self.messages)

    def _add(self, message: Message) -> None:
        if message not in self._told:
            self._told = [message, *self._told][:_MOST_TOLD]
        self._waved.discard(message.text)

    def _wave_away(self, text: str) -> None:
        self._waved.add(text)
        self._told = [message for message in self._told if message.text != text]
        if text == self.hint:
            self.hint = ""
        self.messages = [message for message in self.messages if message.text != text]
        self._banner.show_messages(self.messages)

    def _save_details(self, detail: str) -> None:
        dialog = QFileDialog(self._banner, words.save_details_title())
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.selectFile("swellmark-details.txt")
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)

        def save(path: str) -> None:
            try:
                Path(path).write_text(detail, encoding="utf-8")
            except OSError as error:
                self._add(Message(words.details_not_saved(error.strerror or str(error)), urgent=True))

        dialog.fileSelected.connect(save)
        dialog.open()
