"""What can be done by key in the window, apart from what pages add of their own."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from app.window.actions import BOARD, EVERYWHERE, Action
from app.words import keys as words

if TYPE_CHECKING:
    from app.window.main import MainWindow


def key_table(window: MainWindow) -> list[Action]:
    """Every action of the window, in the order in which the page of settings lists them."""
    looks, views = window.looks, window.views
    everywhere = (
        ("take", window.toggle_take, ("Space", "PgDown")),
        ("by_itself", window.by_itself.toggle, ("O",)),
        ("afresh", window.start_afresh, ("R", "PgUp")),
        ("seen", views.seen, ("C",)),
        ("afar", views.toggle_afar, ("2",)),
        ("strip", lambda: views.toggle_strip(window.theme), ("S",)),
        ("overlay", window.toggle_overlay, ("?",)),
        ("back", window.step_back, ("Esc",)),
        ("look", looks.next_palette, ("L",)),
        ("larger", partial(looks.scale_texts, 1), ("Ctrl++", "Ctrl+=")),
        ("smaller", partial(looks.scale_texts, -1), ("Ctrl+-",)),
        ("text_size", partial(looks.scale_texts, 0), ("Ctrl+0",)),
    )
    on_board = (
        ("guide", window.begin_guidance, ("G",)),
        ("skip", window.guidance.skip, ("N",)),
        ("why", window.toggle_why, ("W",)),
        ("proof", window.toggle_proof, ("P",)),
    )
    table = [
        Action(name, words.action_text(name), run, keys, where)
        for actions, where in ((everywhere, EVERYWHERE), (on_board, BOARD))
        for name, run, keys in actions
    ]
    return table + [
        Action(spec.name, words.open_page(spec.title()), partial(window.pages.toggle, spec.name), (spec.key,))
        for spec in window.pages.specs
    ]
