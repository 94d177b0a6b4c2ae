"""How the cells of the standing are drawn: a rank badge, a dot with its whisker, quiet lines between the rows."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPen
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem

from app.docks.standing_model import ROW, Columns, Row
from app.theme import colour, text_font
from app.tiles.ink import readable_on
from app.widgets.parts import SMALL

HEIGHT = 31


class StandingDelegate(QStyledItemDelegate):
    """Draws all cells."""

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> QSize:
        return QSize(super().sizeHint(option, index).width() + 2, HEIGHT)

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        row, column = index.data(ROW), Columns(index.column())
        cell = QRect(option.rect)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if option.state & QStyle.StateFlag.State_Selected:
            painter.fillRect(cell, colour("hover"))
        painter.fillRect(cell.left(), cell.bottom(), cell.width(), 1, colour("border"))
        if isinstance(row, Row):
            if column is Columns.RANK:
                _badge(painter, cell, row)
            elif column is Columns.PICTURE:
                _whisker(painter, cell, row)
            else:
                _text(painter, cell, index, column)
        painter.restore()


def _text(painter: QPainter, cell: QRect, index: QModelIndex | QPersistentModelIndex, column: Columns) -> None:
    tie = column is Columns.TIE
    painter.setFont(text_font(strong=tie))
    row = index.data(ROW)
    aside = isinstance(row, Row) and not row.place.comparable  # its number may not stand beside the others
    painter.setPen(colour("muted" if aside else "accent" if tie else "text"))
    room = cell.adjusted(4, 0, -4, 0)
    said = painter.fontMetrics().elidedText(str(index.data()), Qt.TextElideMode.ElideRight, room.width())
    painter.drawText(room, int(index.data(Qt.ItemDataRole.TextAlignmentRole)), said)


def _badge(painter: QPainter, cell: QRect, row: Row) -> None:
    fill = QColor(row.colour)
    badge = QRectF(0, 0, 19, 19)
    badge.moveCenter(QPointF(cell.center()))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(fill)
    painter.drawRoundedRect(badge, 4.5, 4.5)
    painter.setFont(text_font(SMALL, strong=True))
    painter.setPen(readable_on(fill))
    painter.drawText(badge, Qt.AlignmentFlag.AlignCenter, str(row.place.rank))


def _whisker(painter: QPainter, cell: QRect, row: Row) -> None:
    if row.dot is None:
        return
    ink = QColor(row.colour) if row.place.comparable else colour("muted")
    room, y = QRectF(cell).adjusted(9, 0, -9, 0), cell.center().y() + 0.5

    def x(along: float) -> float:
        return room.left() + along * room.width()

    painter.setPen(QPen(colour("border"), 1))
    painter.drawLine(QPointF(room.left(), y), QPointF(room.right(), y))
    if row.left is not None and row.right is not None:
        painter.setPen(QPen(ink, 2.4, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
        painter.drawLine(QPointF(x(row.left), y), QPointF(x(row.right), y))
    painter.setPen(QPen(ink, 1.8))
    painter.setBrush(ink if row.place.proven else colour("panel"))  # hollow: nothing proves it
    painter.drawEllipse(QPointF(x(row.dot), y), 3.6, 3.6)
