"""What turning the mirror between spells does to a steady bias: astigmatism after n spells.

A bias that is fixed to the barrel or to the hands wears the same harmonic ``A cos(m (theta - theta0))`` in every
spell. On a mirror that lies turned by ``k`` times an angle it stands turned back by as much, so that after n spells
``A`` has been multiplied by ``sum over k < n of exp(-i m k angle)``. That sum is zero when ``n angle`` is a whole
number of turns and ``m angle`` is not: five turns of 72 degrees cancel the second harmonic, turns of 180 never do.
Common practice, no source: a fifth of a turn, 72 to 80 degrees, each time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearsim.bench.programme import Programme
from wearsim.kernels.arrays import Floats


@dataclass(frozen=True)
class Turned:
    """A harmonic through the spells.

    Parameters
    ----------
    angle : float
        Turn of the mirror before each spell but the first [rad].
    harmonic : int
        Azimuthal frequency m.
    spells : ndarray of int, shape (n,)
        1 to n.
    share : ndarray, shape (n,)
        Size of the harmonic that has been worn, over what as many spells without turning would have worn [1].
    worn : ndarray of complex, shape (n,)
        The harmonic itself in the mirror's frame, in the unit of the bias; its argument over m is the azimuth.
    """

    angle: float
    harmonic: int
    spells: NDArray[np.int64]
    share: Floats
    worn: NDArray[np.complex128]


def turns(angle: float, spells: int, *, bias: complex = 1.0, harmonic: int = 2) -> Turned:
    """A steady bias after 1 to `spells` spells, the mirror turned by `angle` before each but the first.

    Parameters
    ----------
    angle : float
        [rad]
    spells : int
        At least 1.
    bias : complex
        Harmonic that one spell wears, in any unit; its argument is m times the azimuth where it wears most.
    harmonic : int
        Azimuthal frequency m; 2 is astigmatism.

    Returns
    -------
    Turned
        What is left after each spell.

    Raises
    ------
    ValueError
        If there are no spells.
    """
    if spells < 1:
        raise ValueError(f"at least one spell, got {spells}")
    number = np.arange(spells)
    worn = bias * np.cumsum(np.exp(-1j * harmonic * number * angle))
    share = np.abs(worn) / (abs(bias) * (number + 1)) if bias else np.zeros(spells)
    return Turned(angle, harmonic, number + 1, share, worn)


def is_turned(programme: Programme) -> bool:
    """Whether a programme's strokes find the mirror lying in more than one way."""
    angles = [a for a, spell in zip(lies_turned(programme), programme.spells, strict=True) if not spell.is_press]
    return len(set(np.round(np.mod(angles, 2.0 * np.pi), 9))) > 1


def lies_turned(programme: Programme) -> Floats:
    """How far the mirror lies turned in each spell, from where it first lay ``(spells,)`` [rad]."""
    return np.cumsum(np.array([spell.turn for spell in programme.spells]))


def bias_left(programme: Programme, harmonic: int = 2) -> Floats:
    """What a programme's turns leave of a steady bias, after each spell, over what no turns would ``(spells,)`` [1].

    The bias wears by the minute; pressings wear nothing, and before the first stroke the share is 1.

    Parameters
    ----------
    harmonic : int
        Azimuthal frequency m; 2 is astigmatism.
    """
    minutes = np.array([0.0 if spell.is_press else spell.minutes for spell in programme.spells])
    worn = np.abs(np.cumsum(minutes * np.exp(-1j * harmonic * lies_turned(programme))))
    total = np.cumsum(minutes)
    return np.asarray(np.divide(worn, total, out=np.ones_like(total), where=total > 0.0))
