"""How each session fits the others and the prior: how much it counts, and what would explain it where it does not fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import chdtrc

from wearsim.learn.session_filter import FilterStep, SessionModel, Tails

SURE = 0.8
"""From this chance on a session is said not to fit [1]."""
EXPLAINED = 0.6
"""A cause explains a miss where it takes so much of the chi-square beyond what is usual away [1]."""


@dataclass(frozen=True, eq=False)
class SessionFit:
    """How one session fits the others and the prior.

    Attributes
    ----------
    chi_square : float
        Squared innovation in its own usual covariance [1].
    compared : int
        Numbers compared: what ``chi_square`` is about where all is well.
    chance : float
        Of a chi-square this large or larger [1].
    weight : float
        How much the session counts, against one that fits [1]: the mean of one over the squared sizes of
        :class:`wearsim.learn.session_filter.Tails`.
    wrong : float
        Chance that something other than what is recorded was worked [1].
    removal : float
        RMS of the removal's shape, as the engine has it [m].
    factor : float
        Factor on its whole removal that explains it best [1].
    explained : float
        Share of the miss beyond the usual that this factor takes away [1].
    confirmed : bool
        Whether the person vouches for its record.
    """

    number: int
    chi_square: float
    compared: int
    chance: float
    weight: float
    wrong: float
    removal: float
    factor: float
    explained: float
    confirmed: bool

    @property
    def fits(self) -> bool:
        """Whether everything that a session may do of its own accord can explain it."""
        return self.confirmed or self.wrong < SURE

    @property
    def is_of_other_size(self) -> bool:
        """Whether a removal of another size would explain it."""
        return self.explained > EXPLAINED

    def to_json(self) -> dict[str, Any]:
        """Plain numbers, as part of what ``calibrate --json`` gives."""
        return {
            "number": self.number, "chi_square": self.chi_square, "compared": self.compared, "chance": self.chance,
            "fits": self.fits, "weight": self.weight, "chance_of_another_record": self.wrong,
            "confirmed": self.confirmed, "removal_shape_rms_m": self.removal,
            "best_factor_on_removal": self.factor, "share_explained_by_factor": self.explained,
        }  # fmt: skip


def session_fit(step: FilterStep, model: SessionModel, tails: Tails) -> SessionFit:
    """How a session fits, followed with the likeliest constants."""
    size, chi_square = step.innovation.size, step.chi_square
    sizes = np.array(tails.sizes[: step.chances.size])
    about = step.removal - step.removal.mean()
    beyond = chi_square - size
    gained = chi_square - step.miss_without(step.likeliest_size)
    return SessionFit(
        model.number, chi_square, size, float(chdtrc(size, chi_square)), float(step.chances @ sizes**-2.0),
        float(step.chances[sizes >= tails.wrong_from].sum()), float(np.sqrt(np.mean(about**2))),
        float(np.exp(np.clip(step.likeliest_size, -3.0, 3.0))), float(gained / beyond) if beyond > 0.0 else 0.0,
        model.confirmed,
    )  # fmt: skip
