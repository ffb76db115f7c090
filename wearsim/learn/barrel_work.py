"""A programme while it is worked at the barrel: how long each spell has gone, through pauses, reloads and power cuts."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

BEAT = 5.0
"""Between two notes of how far the work is [s]: as much is lost at most where the power fails."""


@dataclass
class Work:
    """A programme being worked at the barrel.

    Parameters
    ----------
    programme : str
        Its TOML.
    planned : list of float
        Minutes of each spell [min].
    first : str
        What to do with the lap before, in words.
    done : list of float
        Seconds worked in each spell, up to ``since`` [s].
    spell : int
        Which spell it is, from 0.
    since : float or None
        When the clock was last set going, seconds of the epoch; None while it stands.
    beat : float
        When it was last known to go.
    ended : float or None
        When the last spell was ended.
    corrected : list of float
        Minutes of each spell as the person corrected them afterwards; empty where nobody did [min].
    number : int
        Of the session that it is being recorded as; 0 before.
    pressing : float
        For how long the lap is to be pressed before the first spell; 0 where it is not, or no more [min].
    pressed_since : float or None
        When the clock of that pressing was set going; it goes on whatever becomes of server and browser.
    pressed : float
        For how long it was pressed by that clock [s].
    stop : float
        Minutes of work in all after which one is to stop and test; 0 where never, or no more [min].
    """

    programme: str
    planned: list[float]
    first: str = ""
    done: list[float] = field(default_factory=list)
    spell: int = 0
    since: float | None = None
    beat: float = 0.0
    ended: float | None = None
    corrected: list[float] = field(default_factory=list)
    number: int = 0
    pressing: float = 0.0
    pressed_since: float | None = None
    pressed: float = 0.0
    stop: float = 0.0

    def __post_init__(self) -> None:
        self.done = self.done or [0.0] * len(self.planned)

    def seconds(self, spell: int | None = None) -> float:
        """Worked in a spell until now, in the present one by default [s]."""
        place = self.spell if spell is None else spell
        more = time.time() - self.since if self.since is not None and place == self.spell else 0.0
        return self.done[place] + max(0.0, more)

    @property
    def is_going(self) -> bool:
        """Whether a clock goes."""
        return self.since is not None or self.pressed_since is not None

    @property
    def whole(self) -> float:
        """Time of the present spell, no farther than to the stop, or of the pressing before the first [s]."""
        planned = 60.0 * (self.pressing or self.planned[self.spell])
        others = sum(self.done) - self.done[self.spell]
        return min(planned, 60.0 * self.stop - others) if self.stop and not self.pressing else planned

    @property
    def left(self) -> float:
        """Time left of that, not below 0 [s]."""
        pressed = 0.0 if self.pressed_since is None else time.time() - self.pressed_since
        return max(0.0, self.whole - (pressed if self.pressing else self.seconds()))

    @property
    def is_begun(self) -> bool:
        """Whether anything of it was worked, or said to have been."""
        return self.is_going or self.ended is not None or any(self.done) or any(self.corrected) or self.pressed > 0.0

    @property
    def is_at_stop(self) -> bool:
        """Whether so much is worked that one is to stop and test."""
        return self.stop > 0.0 and sum(self.done) >= 60.0 * self.stop - 0.5

    @property
    def standing(self) -> tuple[int, ...]:
        """Where it is: which spell, whether a clock goes, whether it has ended, is at its stop, or the lap is still to be
        pressed."""
        return self.spell, self.is_going, self.ended is not None, self.is_at_stop, self.pressing > 0.0

    def press(self) -> None:
        """Set the clock of the first pressing going."""
        self.pressed_since = self.pressed_since or time.time()

    def unpress(self) -> None:
        """It was not meant: the clock of the pressing begins again later."""
        self.pressed_since = None

    def fits(self) -> None:
        """The lap fits, whether it was pressed by the clock or before: on to the first spell."""
        self.pressed = 0.0 if self.pressed_since is None else time.time() - self.pressed_since
        self.pressing, self.pressed_since, self.first = 0.0, None, ""

    def go(self) -> None:
        """Set the clock going."""
        if self.since is None and self.ended is None:
            self.since = self.beat = time.time()

    def halt(self, at: float | None = None) -> None:
        """Let the clock stand, as from ``at`` where that is known."""
        if self.since is not None:
            end = min(time.time() if at is None else at, self.since + self.whole - self.done[self.spell])
            self.done[self.spell] += max(0.0, end - self.since)
            self.since = None

    def run_out(self) -> None:
        """The clock is at nothing: at the stop it stands; else on to the next spell."""
        self.halt()
        if not self.is_at_stop:
            self.next_spell()

    def go_on(self) -> None:
        """On with the work past its stop."""
        self.stop = 0.0
        if self.left > 0.0:
            self.go()
        else:
            self.next_spell()

    def next_spell(self) -> None:
        """On to the next spell, or to the end."""
        self.halt()
        if self.spell + 1 < len(self.planned):
            self.spell += 1
        else:
            self.ended = self.ended or time.time()

    def back(self) -> None:
        """To the spell before, or to the last one where it had ended: what was worked of it counts."""
        self.halt()
        self.spell -= self.ended is None and self.spell > 0
        self.ended, self.corrected = None, []

    def end(self) -> None:
        """Stopped here: nothing more is worked."""
        self.halt()
        self.ended = self.ended or time.time()

    def minutes(self) -> list[float]:
        """Worked in each spell, as corrected or to tenths of a minute [min]."""
        return list(self.corrected) or [round(self.seconds(place) / 60.0, 1) for place in range(len(self.planned))]
