"""The pages that there are, in the order of their buttons. How to add one: see ``app/window/pages.py``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from app.window.pages import Page, PageSpec, PageTools
from app.words import about as about_words
from app.words import channels as channel_words
from app.words import filespage as files_words
from app.words import glossary as glossary_words
from app.words import hearing as hearing_words
from app.words import logpage as log_words
from app.words import settings as settings_words


def _about(tools: PageTools) -> Page:
    from app.window.about import About  # late, like every page: the first picture waits for none of them

    return About(tools.theme)


def _balance(tools: PageTools) -> Page:
    from app.window.balance import BalancePage

    return BalancePage(tools)


def _channels(tools: PageTools) -> Page:
    from app.window.channels import Channels

    return Channels(tools)


def _glossary(tools: PageTools) -> Page:
    from app.window.glossary import Glossary

    return Glossary(tools)


def _log(tools: PageTools) -> Page:
    from app.window.logpage import LogPage

    return LogPage(tools)


def _files(tools: PageTools) -> Page:
    from app.window.filespage import FilesPage

    return FilesPage(tools)


def _settings(tools: PageTools) -> Page:
    from app.window.settings import Settings

    return Settings(tools, {spec.name: spec.title() for spec in PAGES})


def _are_sounds(paths: Sequence[Path]) -> bool:
    from app.check.folder import is_sound_name  # late: it brings the measuring of files with it

    return bool(paths) and all(is_sound_name(path.name) for path in paths)


WORDS = "words"
"""The page that explains words."""

PAGES = (
    PageSpec("log", log_words.page_title, log_words.page_tip, "T", _log),
    # Whatever is dropped: what is no sound is said to be none, and folders are looked through.
    PageSpec("files", files_words.page_title, files_words.page_tip, "F", _files, bool),
    PageSpec("balance", hearing_words.page_title, hearing_words.page_tip, "B", _balance, _are_sounds),
    PageSpec("channels", channel_words.page_title, channel_words.page_tip, "M", _channels),
    PageSpec(WORDS, glossary_words.page_title, glossary_words.page_tip, "H", _glossary),
    PageSpec("settings", settings_words.settings_title, settings_words.settings_tip, "K", _settings),
    PageSpec("about", about_words.about_title, about_words.about_tip, "F1", _about),
)
