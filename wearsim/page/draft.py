"""What was entered on the page and stands in no file of the mirror's folder yet: it outlives a reload and a dead battery.

``page.json`` in the mirror's folder; it may be deleted at any time, and what it held is then lost, no more.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

FILE = "page.json"
BEAT = 5.0
"""Between two notes of how far the work is [s]: as much is lost at most where the laptop's own battery dies."""


@dataclass
class Round:
    """One reading of every window, as typed."""

    cells: list[str]
    struck: bool = False

    @property
    def is_whole(self) -> bool:
        """Whether every window was read."""
        return all(cell.strip() for cell in self.cells)

    @property
    def is_begun(self) -> bool:
        """Whether any window was read."""
        return any(cell.strip() for cell in self.cells)


@dataclass
class Work:
    """A programme being worked at the barrel.

    Parameters
    ----------
    programme : str
        Its TOML.
    planned : list of float
        Minutes of each spell [min].
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
    """

    programme: str
    planned: list[float]
    done: list[float] = field(default_factory=list)
    spell: int = 0
    since: float | None = None
    beat: float = 0.0
    ended: float | None = None

    def __post_init__(self) -> None:
        self.done = self.done or [0.0] * len(self.planned)

    def seconds(self, spell: int | None = None) -> float:
        """Worked in a spell until now, in the present one by default [s]."""
        place = self.spell if spell is None else spell
        more = time.time() - self.since if self.since is not None and place == self.spell else 0.0
        return self.done[place] + max(0.0, more)

    @property
    def left(self) -> float:
        """Of the present spell, not below 0 [s]."""
        return max(0.0, 60.0 * self.planned[self.spell] - self.seconds())

    def go(self) -> None:
        """Set the clock going."""
        if self.since is None and self.ended is None:
            self.since = self.beat = time.time()

    def halt(self, at: float | None = None) -> None:
        """Let the clock stand, as from ``at`` where that is known."""
        if self.since is not None:
            end = min(
                time.time() if at is None else at, self.since + 60.0 * self.planned[self.spell] - self.done[self.spell]
            )
            self.done[self.spell] += max(0.0, end - self.since)
            self.since = None

    def next_spell(self) -> None:
        """On to the next spell, or to the end."""
        self.halt()
        if self.spell + 1 < len(self.planned):
            self.spell += 1
        else:
            self.ended = self.ended or time.time()

    def end(self) -> None:
        """Stopped here: nothing more is worked."""
        self.halt()
        self.ended = self.ended or time.time()

    def minutes(self) -> list[float]:
        """Worked in each spell, to tenths of a minute [min]."""
        return [round(self.seconds(place) / 60.0, 1) for place in range(len(self.planned))]


@dataclass
class Draft:
    """Everything entered for one mirror.

    Parameters
    ----------
    rounds, after : list of Round
        Of the present sheet, and of the one after the session that is being worked.
    source : str
        "moving" or "fixed".
    made_from : str
        Digest of the sheet's file that ``rounds`` were read from or written to.
    limits : dict
        What a proposal was asked for last.
    own : list of dict
        The spells of a programme of one's own.
    work : Work or None
    conditions : dict
        Of the session that is being worked.
    """

    rounds: list[Round] = field(default_factory=list)
    after: list[Round] = field(default_factory=list)
    source: str = ""
    made_from: str = ""
    limits: dict[str, Any] = field(default_factory=dict)
    own: list[dict[str, Any]] = field(default_factory=list)
    work: Work | None = None
    conditions: dict[str, str] = field(default_factory=dict)

    @classmethod
    def load(cls, folder: Path) -> Draft:
        """Of a mirror's folder; an empty one where there is none, or none that can be read."""
        with suppress(OSError, ValueError, TypeError, KeyError):
            table = json.loads((folder / FILE).read_text(encoding="utf-8"))
            for key in ("rounds", "after"):
                table[key] = [Round(**one) for one in table[key]]
            table["work"] = Work(**table["work"]) if table["work"] else None
            draft = cls(**table)
            if draft.work is not None and draft.work.since is not None:
                draft.work.halt(draft.work.beat)  # the server was away: worked as far as is known
            return draft
        return cls()

    def save(self, folder: Path) -> None:
        """Into the mirror's folder, whole or not at all."""
        part = folder / f".{FILE}-{os.getpid()}"
        with part.open("w", encoding="utf-8") as stream:
            json.dump(asdict(self), stream, ensure_ascii=False, indent=1)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(folder / FILE)

    def whole_rounds(self, rounds: list[Round]) -> Iterator[list[str]]:
        """Of the rounds that count: read in every window and not struck out."""
        return (one.cells for one in rounds if one.is_whole and not one.struck)
