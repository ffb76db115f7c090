"""What was entered on the page and is in no file of the mirror's folder yet: it outlives a reload and a dead battery.

``page.json`` in the mirror's folder; it may be deleted at any time, and what it held is then lost, no more.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wearsim.bench.input_errors import read_text
from wearsim.errors import InputError
from wearsim.learn.barrel_work import Work

if TYPE_CHECKING:
    from wearsim.learn.typed_readings import Sheet

FILE = "page.json"


@dataclass(eq=False)
class Round:
    """One reading of every window, as typed; another one is another, whatever was read."""

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
    limits: dict[str, Any] = field(default_factory=lambda: {"minutes": 60.0, "spells": 3, "top": "either"})
    own: list[dict[str, Any]] = field(default_factory=list)
    work: Work | None = None
    conditions: dict[str, str] = field(default_factory=dict)

    @classmethod
    def load(cls, folder: Path) -> Draft:
        """The draft of a mirror's folder; an empty one where there is none, or none that can be read."""
        with suppress(InputError, OSError, ValueError, TypeError, KeyError):
            table = json.loads(read_text(folder / FILE))
            for key in ("rounds", "after"):
                table[key] = [Round(**one) for one in table[key]]
            table["work"] = Work(**table["work"]) if table["work"] else None
            draft = cls(**table)
            if draft.work is not None and draft.work.since is not None:
                draft.work.halt(draft.work.beat)  # the server was away: worked as far as is known
            return draft
        return cls()

    @property
    def is_begun(self) -> bool:
        """Whether there is work, or a reading after it, that is in no record yet."""
        return self.work is not None and (self.work.is_begun or any(one.is_begun for one in self.after))

    def begin(self, work: Work | None = None) -> None:
        """Begin this work, in the place of whatever was under way."""
        self.work, self.after, self.conditions = work, [], {}

    @property
    def is_read(self) -> bool:
        """Whether there is a reading that counts, before or after the work."""
        return bool(self.counted("rounds") or self.counted("after"))

    def rows(self, which: str) -> list[list[str]]:
        """Cells of the rounds that count, of "rounds" or of "after": read in every window and not struck out."""
        return [one.cells for one in getattr(self, which) if one.is_whole and not one.struck]

    def counted(self, which: str) -> list[int]:
        """Places of those that are begun and not struck out."""
        return [place for place, one in enumerate(getattr(self, which)) if one.is_begun and not one.struck]

    def take_over(self, sheet: Sheet) -> None:
        """Rows of a file in place of those typed, except for what was never in a file; its source; what it is made from.

        What was read through another number of windows is left out.
        """
        unfinished = [one for one in self.rounds if one.struck or (one.is_begun and not one.is_whole)]
        kept, self.after = (
            [one for one in rounds if len(one.cells) == sheet.windows] for rounds in (unfinished, self.after)
        )
        self.rounds = [*(Round(list(row)) for row in sheet.rows), *kept]
        self.source, self.made_from = sheet.blank.source, sheet.digest

    @property
    def text(self) -> str:
        """What is kept."""
        return json.dumps(asdict(self), ensure_ascii=False, indent=1)
