"""Tables of figures that stay readable on a narrow screen.

Names and figures are never cut or broken. What does not fit beside each other goes into a further
table below, which begins with the same names; long texts and headings wrap between words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderableType
from rich.table import Table
from rich.text import Text

TEXT_WIDTH = 24
"""A text is not wrapped narrower than this, or than itself."""
_EDGES, _BETWEEN = 2, 3
"""Columns that the edges of a table take, and what stands between two of its columns."""


@dataclass
class FigureTable:
    """A table with columns of text on the left and of figures on the right.

    names : how many of the first columns tell its rows apart;  caption : lines below it
    """

    title: str
    left: tuple[str, ...]
    right: tuple[str, ...]
    names: int = 1
    caption: str = ""
    rows: list[tuple[str, ...]] = field(default_factory=list)
    styles: list[str] = field(default_factory=list)

    def add_row(self, *cells: str, style: str = "") -> None:
        """Add a row; cells that are not given stay empty."""
        self.rows.append(cells + ("",) * (len(self.left) + len(self.right) - len(cells)))
        self.styles.append(style)

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        """Yield as many tables as it takes, and the caption."""
        title = self.title
        for group in self._groups(options.max_width):
            yield self._table(title, group, options.max_width)
            title = ""
        if self.caption:
            yield Text(self.caption, style="dim")

    def _groups(self, room: int) -> list[list[int]]:
        """Return which columns stand in each table."""
        names = list(range(self.names))
        groups = [names]
        for column in range(self.names, len(self.left) + len(self.right)):
            wider = [*groups[-1], column]
            if self._taken([self._least(k) for k in wider]) > room and len(groups[-1]) > self.names:
                groups.append([*names, column])
            else:
                groups[-1] = wider
        return groups

    @staticmethod
    def _taken(widths: Sequence[int]) -> int:
        return sum(widths) + _BETWEEN * (len(widths) - 1) + 2 * _EDGES

    def _texts(self, column: int) -> tuple[str, list[str]]:
        """Return the heading of a column and the lines of its cells."""
        heading = (self.left + self.right)[column]
        return heading, [line for row in self.rows for line in row[column].split("\n")]

    def _widest(self, column: int) -> int:
        """Return the width of a column where nothing wraps."""
        heading, lines = self._texts(column)
        return max(map(cell_len, [heading, *lines]))

    def _least(self, column: int) -> int:
        """Return the width below which names or figures would break."""
        heading, lines = self._texts(column)
        whole = max(map(cell_len, lines), default=0)
        if column < len(self.left):
            whole = min(whole, TEXT_WIDTH)
        words = [word for text in (heading, *lines) for word in text.split()]
        if column >= len(self.left):
            words = heading.split()
        return max([whole, *map(cell_len, words)])

    def _table(self, title: str, group: Sequence[int], room: int) -> Table:
        """Return some of the columns, as wide as they like where there is room."""
        least, like = ([f(k) for k in group] for f in (self._least, self._widest))
        spare = room - self._taken(least)
        widths = []
        for low, high in zip(least, like, strict=True):
            given = max(0, min(high - low, spare))
            widths.append(low + given)
            spare -= given
        table = Table(title=title or None, title_justify="left", box=box.SIMPLE_HEAD)
        for column, width in zip(group, widths, strict=True):
            justify = "left" if column < len(self.left) else "right"
            heading = self._texts(column)[0]
            table.add_column(heading, justify=justify, width=width, overflow="fold")  # type: ignore[arg-type]
        for row, style in zip(self.rows, self.styles, strict=True):
            table.add_row(*(row[column] for column in group), style=style or None)
        return table
