"""The hands that hold and move the top piece."""

from __future__ import annotations

import math
from typing import Annotated

from wearsim.bench.fields import Depth, Force, InputTable, Jitter, LengthPair, Time, default, number

_LEAD = "judgement: friction about 0.15, hands about 35 mm above the interface; has little effect"


REFERENCE_SPEED = 0.1
"""Speed at which a law of wear is as stated, whatever its exponents [m/s]; a usual one."""


class Hands(InputTable):
    """How the top piece is held and moved, from ``[hands]``.

    Attributes
    ----------
    push : float
        Downward push, in addition to the weight of the top piece [N].
    push_offset : tuple of float
        Where the hands push, from the top piece's centre: along the stroke, across it [m].
    push_height : float
        Height of the push above the interface [m].
    friction : float
        Coefficient of friction at the interface [1].
    length_jitter : float
        Relative spread of the length from stroke to stroke [1].
    centre_jitter : float
        Spread of the centre from stroke to stroke, per axis [m].
    walk : float
        Time for one walk round the barrel [s] (planar engine).
    hand_turn : float
        Time for one turn of the top piece in the hands, in the opposite direction to the walk [s] (planar engine).
    top_turns : float
        Turns per minute of the top piece on a machine's spindle, relative to the room; counterclockwise positive [1/min].
        0: the slow turning by hand.
    stand_turns : float
        Turns per minute of the piece below, on a turntable or a machine's table; counterclockwise positive [1/min]. Nobody
        walks round it then. 0: it is at rest.
    """

    push: Force = default(
        30.0, "judgement: about 1 kPa with the piece's weight (10 g/cm^2: common practice, no source)"
    )
    push_offset: LengthPair = default((0.0, 0.0), "judgement: the hands push at the centre")
    push_height: Depth = default(0.035, _LEAD)
    friction: Annotated[float, *number("0.15", least=0.0, most=2.0)] = default(0.15, _LEAD)
    length_jitter: Annotated[float, *number("0.06", least=0.0, most=1.0)] = default(0.06, "judgement: 6%")
    centre_jitter: Jitter = default(0.002, "judgement")
    walk: Time = default(240.0, "judgement")
    hand_turn: Time = default(360.0, "judgement")
    top_turns: Annotated[float, *number("10", least=-300.0, most=300.0)] = default(
        0.0, "0 = by hand; on a machine, the turns per minute of its spindle"
    )
    stand_turns: Annotated[float, *number("10", least=-300.0, most=300.0)] = default(
        0.0, "0 = by hand; otherwise the turns per minute of a turntable or a machine's table"
    )

    @property
    def spins(self) -> tuple[float, float]:
        """Rates at which a machine turns the top piece and the piece below [rad/s]."""
        return 2.0 * math.pi * self.top_turns / 60.0, 2.0 * math.pi * self.stand_turns / 60.0

    @property
    def friction_lead(self) -> float:
        """How far friction carries the load ahead of the hands [m] (physics section 2)."""
        return self.push_height * self.friction
