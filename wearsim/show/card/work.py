"""Work that a bench card can be made of: a proposal, or a programme that was predicted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate
from typing import Protocol

import numpy as np

from wearsim.bench.programme import Programme
from wearsim.decide.proposal import EarlyStop
from wearsim.wear.outcome import Outcome


class CardWork(Protocol):
    """Work that a card can be made of: a proposal, or a programme that was predicted."""

    @property
    def programme(self) -> Programme:
        """The work itself."""

    @property
    def outcome(self) -> Outcome:
        """What it is predicted to do."""

    @property
    def early(self) -> EarlyStop:
        """How the figure stands if it is stopped early."""

    @property
    def pressings(self) -> Mapping[str | None, float]:
        """For how long each lap is pressed first, by its name as spells have it [s]."""

    @property
    def reason(self) -> str:
        """Why there is nothing to do, where there is nothing."""


NO_SPELLS = "the programme has no spells"


@dataclass(frozen=True, eq=False)
class PredictedWork:
    """A programme of the person's own, as it was predicted; the attributes are those of :class:`CardWork`."""

    programme: Programme
    outcome: Outcome
    pressings: Mapping[str | None, float]
    reason: str = NO_SPELLS

    @property
    def early(self) -> EarlyStop:
        """The figure after each spell, in straight lines from one to the next."""
        spells, band, before = self.outcome.spells, self.outcome.band, self.outcome.numbers_before
        worked = (0.0 if spell.is_press else spell.minutes for spell in self.programme.spells)
        minutes = np.array([0.0, *accumulate(worked)])
        rms = np.array([before.surface_rms, *(one.surface_rms for one in spells)])
        roll = np.array([before.edge_roll, *(one.edge_roll for one in spells)])
        if band is None or band.stage_rms is None or band.stage_edge_roll is None:
            return EarlyStop(minutes, rms, roll)
        starts = (
            band.numbers_before.get(name, np.full(2, value))
            for name, value in (("surface_rms", rms[0]), ("edge_roll", roll[0]))
        )
        stages = (band.stage_rms, band.stage_edge_roll)
        return EarlyStop(minutes, rms, roll, *(np.vstack([one, two]) for one, two in zip(starts, stages, strict=True)))
