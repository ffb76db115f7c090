"""What takes the glass away, and how well the constants are known."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import model_validator

from wearsim.bench import materials as catalogue
from wearsim.bench.fields import Length, Name, PerPascal, Piece, Temperature, default, number

PRESTON = 8e-13
"""Preston coefficient of cerium oxide on pitch, borosilicate [1/Pa]."""
PRESTON_SOURCE = (
    "fused silica best > 1.6e-12, earlier about 1.6e-13 [read, abstract]; 8e-13 in use for "
    "computer-controlled figuring [memory]; known within x2.5"
)
EDGE_LENGTH_SOURCE = "the pitch thickness (physics section 2)"


class Wear(Piece):
    """What takes the glass away, from ``[wear]``.

    Attributes
    ----------
    preston : float or None
        Preston coefficient of this glass, abrasive and lap [1/Pa], taken as it stands; None: the default one
        times the factors of glass and abrasive (:attr:`wearsim.bench.bench.Bench.preston`).
    abrasive : str
        An abrasive of the catalogue.
    edge_gain : float
        Extra pressure at the glass's rim [1] (physics section 2).
    edge_length : float or None
        Over what length it fades [m]; None: the pitch thickness.
    temperature : float
        Of the room [degC]: moves the relaxation time.
    """

    preston: PerPascal | None = None
    abrasive: Name = default("cerium-oxide", "judgement: the usual one")
    edge_gain: Annotated[float, *number("0.3", least=0.0, most=20.0)] = default(
        0.3, "judgement: rim of a punch in a bonded layer; known within x2"
    )
    edge_length: Length | None = None
    temperature: Temperature = default(20.0, "common practice, no source: a basement is at 17-21 degC")

    @model_validator(mode="after")
    def _possible(self) -> Self:
        catalogue.abrasive(self.abrasive)
        return self


class Spread(Piece):
    """How well the constants are known, from ``[spread]``: one-sigma factors of a log-normal; 1 = exactly.

    Attributes
    ----------
    preston, stiffness, relaxation_time, edge_gain : float
        [1], at least 1.
    """

    preston: Annotated[float, *number("2.5", least=1.0, most=100.0)] = default(2.5, "from the sources of the value")
    stiffness: Annotated[float, *number("3.0", least=1.0, most=100.0)] = default(3.0, "no published value")
    relaxation_time: Annotated[float, *number("2.5", least=1.0, most=100.0)] = default(2.5, "judgement")
    edge_gain: Annotated[float, *number("2.0", least=1.0, most=100.0)] = default(2.0, "judgement")
