"""The pages that there are, in the order of their buttons. How to add one: see ``app/window/pages.py``."""

from __future__ import annotations

from app.window.pages import Page, PageSpec, PageTools
from app.words import about as about_words


def _about(tools: PageTools) -> Page:
    from app.window.about import About  # late, like every page: the first picture waits for none of them

    return About(tools.theme)


PAGES = (PageSpec("about", about_words.about_title, about_words.about_tip, "F1", _about),)
