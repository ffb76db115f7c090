"""The sizes of type on a bench card, from large to small, and the page that it is set on."""

from __future__ import annotations

from dataclasses import dataclass

from wearsim.show.card_pen import HEIGHT, MARGIN, POINT, WIDTH, wrapped

LEFT, RIGHT, BOTTOM = MARGIN, WIDTH - MARGIN, HEIGHT - MARGIN
FULL = RIGHT - LEFT


@dataclass(frozen=True)
class Type:
    """One step of type.

    Parameters
    ----------
    size : float
        Of what is read at the barrel [pt].
    lead : float
        Line spacing [1].
    drawing : float
        Side of a stroke's drawing [mm].
    rule : float
        Between two lines to write on [mm].
    rows : float
        Of the readings [pt].
    said : float
        Of what to look for and to do first [pt].
    chart : float
        Height of the chart with its title [mm].
    """

    size: float
    lead: float
    drawing: float
    rule: float
    rows: float
    said: float
    chart: float

    @property
    def line(self) -> float:
        """Height of a line of what is read at the barrel [mm]."""
        return self.lead * self.size * POINT

    @property
    def pitch(self) -> float:
        """Height of a row of readings [mm]."""
        return 1.2 * self.rows * POINT


TYPES = (
    Type(14.0, 1.22, 38.0, 7.5, 13.0, 12.0, 46.0),
    Type(13.0, 1.20, 37.0, 7.5, 12.5, 11.5, 42.0),
    Type(12.0, 1.18, 35.0, 7.0, 12.0, 11.0, 38.0),
    Type(11.2, 1.16, 31.0, 6.6, 11.5, 10.5, 33.0),
    Type(10.5, 1.14, 28.0, 6.2, 10.5, 10.2, 31.5),
    Type(10.0, 1.12, 26.5, 5.8, 10.0, 10.0, 29.0),
    Type(9.5, 1.10, 25.0, 5.4, 9.5, 9.5, 27.0),
)


def height_of(text: str, width: float, size: float, lead: float, bold: bool = False) -> float:
    """Height of a paragraph as :meth:`wearsim.show.card_pen.Pen.fill` sets it [mm].

    Parameters
    ----------
    text : str
    width : float
        [mm]
    size : float
        [pt]
    lead : float
        Line spacing [1].
    bold : bool
    """
    return len(wrapped(text, width, size, bold)) * lead * size * POINT
