"""How a cell of the list of takes is drawn."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath
from PySide6.QtWidgets import QStyle, QStyleOptionViewItem

from app.coach.judgement import Verdict
from app.window.cellpaint import CellDelegate
from app.window.hull import paint_mark
from app.window.scale import LevelScale
from app.window.takelist import LINE_ROLE, Column, TakeLine
from app.window.theme import GAP, UNIT, Theme, Type


class TakeDelegate(CellDelegate):
    """Draws a verdict with its mark, and a take's levels with its clips."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self._scale = LevelScale(bottom_dbfs=-54.0)

    def _paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        palette = self.theme.palette
        rect = QRectF(option.rect)
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        if chosen:
            painter.fillRect(rect, QColor(palette.control))
        line = index.data(LINE_ROLE)
        if index.column() == Column.LEVELS and line is not None:
            self._paint_levels(painter, rect.adjusted(GAP, 3, -GAP, -3), line)
        else:
            text = rect.adjusted(UNIT, 0, -UNIT, 0)
            if index.column() == Column.VERDICT and line is not None and line.detail.row.verdict is not None:
                side = min(14.0, rect.height() - 8)
                mark = QRectF(rect.left() + UNIT, rect.center().y() - side / 2, side, side)
                paint_mark(painter, mark, line.detail.row.verdict, palette)
                text.setLeft(mark.right() + 2 * UNIT)
            quiet = index.column() in (Column.NUMBER, Column.LENGTH, Column.FIGURES) and not chosen
            painter.setFont(self.theme.font(Type.BODY))
            painter.setPen(QColor(palette.muted if quiet else palette.text))
            align = index.data(Qt.ItemDataRole.TextAlignmentRole)
            flags = align if align is not None else int(Qt.AlignmentFlag.AlignVCenter)
            shown = painter.fontMetrics().elidedText(
                index.data() or "", Qt.TextElideMode.ElideRight, int(text.width())
            )
            painter.drawText(text, flags, shown)

    def _paint_levels(self, painter: QPainter, rect: QRectF, line: TakeLine) -> None:
        palette = self.theme.palette
        levels = line.detail.trace.average_dbfs
        width = max(1, int(rect.width()))
        painter.fillRect(QRectF(rect.left(), rect.bottom() - 1, rect.width(), 1), QColor(palette.edge))
        if levels.shape[0]:
            # Each pixel shows the highest of the points that it covers.
            starts = (np.arange(min(width, levels.shape[0])) * levels.shape[0]) // min(width, levels.shape[0])
            tops = np.maximum.reduceat(levels, starts)
            step = rect.width() / tops.shape[0]
            shore = QPainterPath(rect.bottomLeft())
            for place, level_dbfs in enumerate(tops.tolist()):
                y = rect.bottom() - self._scale.height(level_dbfs) * rect.height()
                shore.lineTo(rect.left() + place * step, y)
                shore.lineTo(rect.left() + (place + 1) * step, y)
            shore.lineTo(rect.bottomRight())
            painter.fillPath(shore, QColor(palette.shallow))
        duration_s = line.detail.row.duration_s
        for place_s in line.clip_places_s:
            if duration_s > 0:
                x = rect.left() + min(1.0, place_s / duration_s) * (rect.width() - 2)
                painter.fillRect(
                    QRectF(x, rect.top() - 1, 2, rect.height() + 2), QColor(palette.verdicts[Verdict.AWASH])
                )
