"""Limits and costs of a proposal, and its time limit: one clock that every stage looks at."""

from __future__ import annotations

from dataclasses import dataclass, replace
from time import monotonic

import numpy as np

from wearsim.errors import InputError
from wearsim.wear.discrepancy import Discrepancy

# Spread of a spell's removal, in size and in shape, whose parts alike leave a figure error of so much of the removal.
REMOVAL_SPREAD = float(np.hypot(Discrepancy().spell_spread, Discrepancy().shape))


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
    on_top : tuple of str
        Pieces that may lie on top.
    rate : float
        Strokes a minute.
    reach : float
        Largest offset of a stroke, jitter included, as a share of the tipping offset [1]. A judgement.
    removal_spread : float or None
        Relative spread of a spell's removal that no calibration takes away: charge, wetness, the hands [1]. By default
        that of :class:`wearsim.wear.discrepancy.Discrepancy`, size and shape together;
        where the constants are taken as known exactly the removal is taken so too.
    cost_spell, cost_change, cost_hour : float
        Relative growth of the residual that one more spell, one more change of the top piece and one more hour
        of work must be worth [1]. Judgements.
    """

    minutes: float = 60.0
    spells: int = 3
    shortest: float = 2.0
    edge_limit: float = 0.125
    on_top: tuple[str, ...] = ("tool", "mirror")
    rate: float = 50.0
    reach: float = 0.9
    removal_spread: float | None = None
    cost_spell: float = 0.01
    cost_change: float = 0.01
    cost_hour: float = 0.03

    def __post_init__(self) -> None:
        checks = (
            ("minutes", self.minutes, 0.0 < self.minutes <= 10_000.0, "more than 0 and at most 10000"),
            ("spells", self.spells, 1 <= self.spells <= 8, "1 to 8"),
            ("shortest", self.shortest, self.shortest > 0.0, "more than 0"),
            ("edge-limit", self.edge_limit, self.edge_limit > 0.0, "more than 0 waves"),
            ("rate", self.rate, 1.0 <= self.rate <= 200.0, "1 to 200 strokes a minute"),
        )
        for key, value, good, expected in checks:
            if not good:
                raise InputError("out of range", key=key, value=value, expected=expected)
        if self.shortest > self.minutes:
            raise InputError(
                "the shortest spell is longer than all the work", key="minutes", value=self.minutes,
                expected=f"at least {self.shortest:g}",
            )  # fmt: skip
        if not self.on_top or not set(self.on_top) <= {"tool", "mirror"}:
            raise InputError("unknown piece", key="on-top", value=self.on_top, expected="tool, mirror")

    @property
    def spread(self) -> float:
        """The spread of a spell's removal that programmes are judged with [1]."""
        return REMOVAL_SPREAD if self.removal_spread is None else self.removal_spread

    def with_certainty(self, certain: bool) -> Limits:
        """The same with the spread of a spell's removal settled.

        Parameters
        ----------
        certain : bool
            Whether the constants are taken as known.

        Returns
        -------
        Limits
            With a number as ``removal_spread``; one that was given stays.
        """
        if self.removal_spread is not None:
            return self
        return replace(self, removal_spread=0.0 if certain else REMOVAL_SPREAD)
