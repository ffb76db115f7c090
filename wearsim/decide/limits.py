"""Limits and costs of a proposal, and its time limit: one clock that every stage looks at."""

from __future__ import annotations

from dataclasses import dataclass, replace
from time import monotonic
from typing import Any

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.errors import InputError
from wearsim.wear.discrepancy import Discrepancy

# Spread of a spell's removal, in size and in shape, whose parts alike leave a figure error of so much of the removal.
REMOVAL_SPREAD = float(np.hypot(Discrepancy().spell_spread, Discrepancy().shape))


COMMON, ANY = "common", "any"
"""The strokes that hands do (:mod:`wearsim.decide.repertoire`), and all that the mechanics allows."""
REPERTOIRES = (COMMON, ANY)
OLD_NAMES = {"practised": COMMON}
"""What a repertoire was called before; still taken."""
HEAVY, TOO_HEAVY = 20.0, 30.0
"""Glass that is dear to have on top, and that is never on top unless asked for [kg] (judgements, after what one person
lifts)."""
USUAL_SHORTEST = 5.0
"""Shortest spell, unless the glass wears too fast for it [min] (common practice, no source)."""
RATES = ((0.15, 50.0), (0.5, 30.0))
"""Strokes a minute by the diameter of the mirror [m], evenly between (common practice, no source). Pauses are left to
whoever works."""


def usual_rate(diameter: float) -> float:
    """Strokes a minute on a mirror of this diameter [m]."""
    sizes, rates = zip(*RATES, strict=True)
    return float(np.round(np.interp(diameter, sizes, rates)))


class TimeUp(Exception):
    """The time limit came amid a stage; whoever began it goes on with what there is."""


class Clock:
    """Time since a proposal was begun, against its limit [s]; by default there is none."""

    def __init__(self, limit: float | None = None) -> None:
        self.limit, self.began = limit, monotonic()
        self.left_out: list[str] = []

    @property
    def is_over(self) -> bool:
        """Whether the time is over."""
        return self.limit is not None and monotonic() - self.began > self.limit

    def leaves_out(self, what: str) -> bool:
        """Whether the time is over; what is then not looked into is noted, as it follows "not looked into:"."""
        if not self.is_over:
            return False
        if what not in self.left_out:
            self.left_out.append(what)
        return True

    def check(self) -> None:
        """Go on only while there is time.

        Raises
        ------
        TimeUp
            Where the time is over.
        """
        if self.is_over:
            raise TimeUp


@dataclass(frozen=True)
class Limits:
    """Limits and costs of a proposal.

    Parameters
    ----------
    minutes : float
        Work in all, pressing not counted [min].
    spells : int
        Different strokes at most.
    shortest : float
        Shortest spell [min].
    edge_limit : float
        Edge roll allowed either way, in waves of surface height [1].
    on_top : tuple of str or None
        Pieces that may lie on top; by default both, and the tool alone where the mirror weighs more than
        :data:`TOO_HEAVY`.
    rate : float or None
        Strokes a minute; by default :func:`usual_rate`.
    repertoire : {"common", "any"}
        Which strokes.
    reach : float
        Largest offset of a stroke, jitter included, as a share of the tipping offset [1]. A judgement.
    removal_spread : float or None
        Relative spread of a spell's removal that no calibration takes away: charge, wetness, the hands [1]. By default
        that of :class:`wearsim.wear.discrepancy.Discrepancy`, size and shape together;
        where the constants are taken as known exactly the removal is taken so too.
    cost_hour : float
        Relative growth of the residual that an hour of effort must be worth [1]
        (:mod:`wearsim.decide.effort`). A judgement.
    ripple : float
        How much slopes on short scales count beside the RMS [1] (:func:`wearsim.decide.objective.ripple_root`). A judgement.
    short_at_need : bool
        Whether spells shorter than the shortest are looked at where nothing else improves the figure much.
    beyond : bool
        Whether any stroke is looked at beside common ones where these gain little.
    """

    minutes: float = 60.0
    spells: int = 3
    shortest: float = USUAL_SHORTEST
    edge_limit: float = 0.125
    on_top: tuple[str, ...] | None = None
    rate: float | None = None
    repertoire: str = COMMON
    reach: float = 0.9
    removal_spread: float | None = None
    cost_hour: float = 0.03
    ripple: float = 0.5
    short_at_need: bool = False
    beyond: bool = True

    def __post_init__(self) -> None:
        object.__setattr__(self, "repertoire", OLD_NAMES.get(self.repertoire, self.repertoire))
        checks = (
            ("minutes", self.minutes, 0.0 < self.minutes <= 10_000.0, "more than 0 and at most 10000"),
            ("spells", self.spells, 1 <= self.spells <= 8, "1 to 8"),
            ("shortest", self.shortest, self.shortest > 0.0, "more than 0"),
            ("edge-limit", self.edge_limit, self.edge_limit > 0.0, "more than 0 waves"),
            ("rate", self.rate, self.rate is None or 1.0 <= self.rate <= 200.0, "1 to 200 strokes per minute"),
            ("repertoire", self.repertoire, self.repertoire in REPERTOIRES, ", ".join(REPERTOIRES)),
        )
        for key, value, good, expected in checks:
            if not good:
                raise InputError("out of range", key=key, value=value, expected=expected)
        if self.shortest > self.minutes:
            raise InputError(
                "less time than the shortest spell allowed", key="minutes", value=self.minutes,
                expected=f"at least {self.shortest:g}",
            )  # fmt: skip
        if self.on_top is not None and (not self.on_top or not set(self.on_top) <= {"tool", "mirror"}):
            raise InputError("unknown piece", key="on-top", value=self.on_top, expected="tool, mirror")

    @property
    def spread(self) -> float:
        """The spread of a spell's removal that programmes are judged with [1]."""
        return REMOVAL_SPREAD if self.removal_spread is None else self.removal_spread

    @property
    def pieces(self) -> tuple[str, ...]:
        """Pieces that may lie on top, settled.

        Raises
        ------
        ValueError
            Before :meth:`settled`.
        """
        if self.on_top is None:
            raise ValueError("on_top is not settled")
        return self.on_top

    @property
    def strokes_a_minute(self) -> float:
        """The rate, settled.

        Raises
        ------
        ValueError
            Before :meth:`settled`.
        """
        if self.rate is None:
            raise ValueError("rate is not settled")
        return self.rate

    def settled(self, bench: Bench) -> Limits:
        """The same with what was left to the bench; what was given stays.

        Parameters
        ----------
        bench : Bench
            Whose mirror's size and weight decide.

        Returns
        -------
        Limits
            With pieces and a rate.
        """
        mirror = bench.mirror
        both = ("tool", "mirror") if mirror.piece_mass <= TOO_HEAVY else ("tool",)
        rate = usual_rate(mirror.diameter) if self.rate is None else self.rate
        return replace(self, on_top=both if self.on_top is None else self.on_top, rate=rate)

    def with_certainty(self, certain: bool) -> Limits:
        """The same with the spread of a spell's removal settled; one that was given stays.

        Parameters
        ----------
        certain : bool
            Whether the constants are taken as known.

        Returns
        -------
        Limits
            With a number as ``removal_spread``.
        """
        if self.removal_spread is not None:
            return self
        return replace(self, removal_spread=0.0 if certain else REMOVAL_SPREAD)


def usual_limits(**given: Any) -> Limits:
    """Limits where nobody says how short a spell may be: the usual length, within the minutes, shorter at need.

    Raises
    ------
    InputError
        As :class:`Limits` raises it.
    """
    minutes = given.get("minutes", Limits.minutes)
    shortest = min(USUAL_SHORTEST, minutes) if minutes > 0.0 else USUAL_SHORTEST
    return Limits(shortest=shortest, short_at_need=True, **given)
