"""Every colour, size and distance of the window, by name, in one place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from types import MappingProxyType

from PySide6.QtGui import QColor, QFont, QPalette

from app.coach.judgement import Verdict


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours as ``#rrggbb``. Text colours have 4.5:1 on the ground and on panels, fills 3:1 (WCAG 2.2)."""

    ground: str
    panel: str
    edge: str
    control: str
    """The ground of a field or a quiet button."""
    text: str
    muted: str
    focus: str
    action: str
    """The one button that matters."""
    on_action: str

    air: str
    """The chart above the water."""
    grid: str
    band: str
    """The part of the air in which the average belongs."""
    shallow: str
    deep: str
    crest: str
    spray: str
    """Peaks, where they fade into the air ..."""
    spray_near: str
    """... and where they rise from the water."""
    bed: str
    bed_hatch: str
    on_bed: str
    deck: str
    rail: str
    missing: str
    """Hatching over lost frames."""

    verdicts: Mapping[Verdict, str]
    on_verdicts: Mapping[Verdict, str]
    """Text on those fills."""


def _by_verdict(slack: str, low: str, fair: str, high: str, awash: str) -> Mapping[Verdict, str]:
    return MappingProxyType(dict(zip(Verdict, (slack, low, fair, high, awash), strict=True)))


DARK = Palette(
    ground="#0e1420",
    panel="#141b2a",
    edge="#263048",
    control="#1c2538",
    text="#e9e4d6",
    muted="#a3abc0",
    focus="#7fd8e8",
    action="#e9e4d6",
    on_action="#0e1420",
    air="#0b101a",
    grid="#182132",
    band="#14282f",
    shallow="#3d83b8",
    deep="#16304f",
    crest="#c2f2eb",
    spray="#39455c",
    spray_near="#5d6c86",
    bed="#2c241f",
    bed_hatch="#54432f",
    on_bed="#d3bd9c",
    deck="#d9b36a",
    rail="#e9e4d6",
    missing="#4a5063",
    verdicts=_by_verdict("#8e92a4", "#7846c5", "#c2f2eb", "#e4962a", "#c42c5f"),
    on_verdicts=_by_verdict("#0e1420", "#ffffff", "#0e1420", "#0e1420", "#ffffff"),
)

LIGHT = Palette(
    ground="#f6f2e9",
    panel="#fffdf8",
    edge="#d8d1c2",
    control="#f0ebdf",
    text="#1b2230",
    muted="#565d6d",
    focus="#0b6f92",
    action="#1b2230",
    on_action="#fffdf8",
    air="#eef1f0",
    grid="#dfe3e2",
    band="#d3e6e1",
    shallow="#5fa3cf",
    deep="#2b5f92",
    crest="#0b3350",
    spray="#c3ccd8",
    spray_near="#9aa9bb",
    bed="#d9cbb4",
    bed_hatch="#b59f7e",
    on_bed="#473a28",
    deck="#8a5a00",
    rail="#1b2230",
    missing="#a2a7b0",
    verdicts=_by_verdict("#8588aa", "#301683", "#0c6661", "#c37a14", "#a00016"),
    on_verdicts=_by_verdict("#000000", "#ffffff", "#ffffff", "#000000", "#ffffff"),
)

CONTRAST = Palette(
    ground="#000000",
    panel="#000000",
    edge="#ffffff",
    control="#000000",
    text="#ffffff",
    muted="#ffffff",
    focus="#ffe45c",
    action="#ffffff",
    on_action="#000000",
    air="#000000",
    grid="#2a2a2a",
    band="#12383a",
    shallow="#3d9be0",
    deep="#1a5a94",
    crest="#ffffff",
    spray="#6a6a6a",
    spray_near="#9a9a9a",
    bed="#2b2118",
    bed_hatch="#b08a55",
    on_bed="#ffffff",
    deck="#ffd27a",
    rail="#ffffff",
    missing="#8a8a8a",
    verdicts=_by_verdict("#8e92a4", "#7846c5", "#c2f2eb", "#e4962a", "#c42c5f"),
    on_verdicts=_by_verdict("#000000", "#ffffff", "#000000", "#000000", "#ffffff"),
)

PALETTES: Mapping[str, Palette] = MappingProxyType({"dark": DARK, "light": LIGHT, "contrast": CONTRAST})


class Type(StrEnum):
    """The type scale: what a text is for. Each step is about 5:4 of the one below."""

    SMALL = "small"
    BODY = "body"
    LEAD = "lead"
    ADVICE = "advice"
    FIGURE = "figure"
    VERDICT = "verdict"


_PIXELS: Mapping[Type, tuple[int, QFont.Weight]] = MappingProxyType(
    {
        Type.SMALL: (12, QFont.Weight.Normal),
        Type.BODY: (14, QFont.Weight.Normal),
        Type.LEAD: (17, QFont.Weight.DemiBold),
        Type.ADVICE: (24, QFont.Weight.DemiBold),
        Type.FIGURE: (30, QFont.Weight.DemiBold),
        Type.VERDICT: (42, QFont.Weight.Bold),
    }
)

UNIT = 4
"""Distances are multiples of this many pixels."""
GAP = 3 * UNIT
MARGIN = 4 * UNIT
RADIUS = 2 * UNIT
TARGET = 9 * UNIT
"""The least height of anything that can be clicked or touched."""
_LARGE = 1.35
"""Letters so many times as large as usual take lines of their own."""


@dataclass(frozen=True, slots=True)
class Theme:
    """A palette, how large texts are, and whether the picture moves."""

    name: str = "dark"
    text_scale: float = 1.0
    still: bool = False
    """Little motion: the picture goes on in steps."""

    @property
    def has_large_texts(self) -> bool:
        """Whether what stood side by side had better stand one above the other."""
        return self.text_scale > _LARGE

    @property
    def palette(self) -> Palette:
        """The colours."""
        return PALETTES[self.name]

    def font(self, kind: Type, scale: float = 1.0) -> QFont:
        """The font of one step of the type scale."""
        return _font(kind, self.text_scale * scale)

    def fill(self, verdict: Verdict) -> QColor:
        """The colour of a verdict."""
        return QColor(self.palette.verdicts[verdict])


@cache
def _font(kind: Type, scale: float) -> QFont:
    pixels, weight = _PIXELS[kind]
    font = QFont()
    font.setPixelSize(max(9, round(pixels * scale)))
    font.setWeight(weight)
    if hasattr(QFont, "Tag"):  # since Qt 6.7: figures of one width, where the typeface has them
        font.setFeature(QFont.Tag("tnum"), 1)
    return font


def qt_palette(colours: Palette) -> QPalette:
    """Qt's own roles, for the parts of controls that no style sheet reaches."""
    palette = QPalette()
    role = QPalette.ColorRole
    for which, colour in (
        (role.Window, colours.ground),
        (role.Base, colours.control),
        (role.AlternateBase, colours.panel),
        (role.Button, colours.control),
        (role.WindowText, colours.text),
        (role.Text, colours.text),
        (role.ButtonText, colours.text),
        (role.PlaceholderText, colours.muted),
        (role.ToolTipBase, colours.panel),
        (role.ToolTipText, colours.text),
        (role.Highlight, colours.focus),
        (role.HighlightedText, colours.ground),
    ):
        palette.setColor(which, QColor(colour))
    return palette


def style_sheet(theme: Theme) -> str:
    """The style of plain controls; what is drawn by hand takes its colours from the palette itself."""
    c = theme.palette
    body, small = theme.font(Type.BODY).pixelSize(), theme.font(Type.SMALL).pixelSize()
    lead = theme.font(Type.LEAD).pixelSize()
    return f"""
* {{ font-size: {body}px; color: {c.text}; }}
QWidget#window {{ background: {c.ground}; }}
QFrame[panel="true"] {{ background: {c.panel}; border: 1px solid {c.edge}; border-radius: {RADIUS}px; }}
QLabel {{ background: transparent; }}
QLabel[quiet="true"] {{ color: {c.muted}; }}
QLabel[small="true"] {{ color: {c.muted}; font-size: {small}px; }}
QComboBox, QLineEdit, QPushButton {{
  background: {c.control}; border: 1px solid {c.edge}; border-radius: {RADIUS - 2}px;
  padding: 0 {GAP}px; min-height: {TARGET - 4}px; }}
QComboBox::drop-down {{ border: none; width: {2 * GAP}px; }}
QComboBox::down-arrow {{ image: none; width: 0; height: 0; border-left: 4px solid {c.control};
  border-right: 4px solid {c.control}; border-top: 5px solid {c.muted}; margin-right: {GAP}px; }}
QComboBox QAbstractItemView {{ background: {c.panel}; border: 1px solid {c.edge}; outline: 0;
  selection-background-color: {c.focus}; selection-color: {c.ground}; }}
QLineEdit {{ placeholder-text-color: {c.muted}; }}
QPushButton:hover, QComboBox:hover {{ border-color: {c.muted}; }}
QPushButton[action="true"] {{ background: {c.action}; color: {c.on_action}; border: 2px solid {c.action};
  border-radius: {RADIUS + 4}px; font-size: {lead}px; font-weight: 600; }}
QPushButton[action="true"][running="true"] {{ background: transparent; color: {c.text}; }}
QPushButton[tile="true"] {{ background: {c.panel}; border-radius: {RADIUS}px; padding: 0; min-height: 0; }}
QPushButton[foot="true"] {{ background: transparent; border-color: transparent; color: {c.muted}; }}
QPushButton[foot="true"]:checked {{ background: {c.control}; border-color: {c.edge}; color: {c.text}; }}
QPushButton[flat="true"] {{ background: transparent; border-color: transparent; color: {c.muted}; }}
QComboBox:focus, QLineEdit:focus, QPushButton:focus, QSlider:focus, QTableView:focus, QListView:focus {{
  border: 2px solid {c.focus}; }}
QPushButton:disabled, QComboBox:disabled, QLineEdit:disabled {{ color: {c.muted}; }}
QCheckBox {{ border: 2px solid transparent; border-radius: {RADIUS - 2}px; padding: 0 {UNIT}px;
  spacing: {2 * UNIT}px; min-height: {TARGET - 4}px; }}
QCheckBox:focus {{ border-color: {c.focus}; }}
QCheckBox::indicator {{ width: {small}px; height: {small}px; border: 2px solid {c.muted};
  border-radius: {UNIT}px; background: {c.control}; }}
QCheckBox::indicator:checked {{ background: {c.text}; border-color: {c.text}; }}
QSlider {{ border: 2px solid transparent; border-radius: {RADIUS - 2}px; min-height: {TARGET - 4}px; }}
QSlider::groove:horizontal {{ height: 4px; background: {c.edge}; border-radius: 2px; }}
QSlider::sub-page:horizontal {{ background: {c.muted}; border-radius: 2px; }}
QSlider::handle:horizontal {{ width: 18px; height: 18px; margin: -7px 0; border-radius: 9px;
  background: {c.text}; }}
QTableView, QListView {{ background: transparent; border: 2px solid transparent;
  border-radius: {RADIUS - 2}px; outline: 0; gridline-color: transparent;
  selection-background-color: {c.focus}; selection-color: {c.ground}; }}
QHeaderView {{ background: transparent; }}
QHeaderView::section {{ background: {c.panel}; color: {c.muted}; border: none;
  border-bottom: 1px solid {c.edge}; padding: {UNIT // 2}px; font-size: {small}px; }}
QScrollBar:vertical {{ background: transparent; width: 10px; margin: 0; }}
QScrollBar::handle:vertical {{ background: {c.edge}; border-radius: 5px; min-height: 24px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}
QToolTip {{ background: {c.panel}; color: {c.text}; border: 1px solid {c.edge}; padding: 4px; }}
"""
