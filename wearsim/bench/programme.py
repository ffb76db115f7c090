"""What is done: spells of one stroke each, in order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal, Self

from pydantic import model_validator

from wearsim.bench.bench import Bench
from wearsim.bench.fields import Angle, DefaultUsed, Extent, Force, InputTable, Name, choice, default, extent, number
from wearsim.bench.units import LengthUnit, counted, length_unit
from wearsim.errors import InputError

LONGEST_SPELL = 10_000.0
"""[min]."""
SIZE_KEYS = ("length", "side_sweep", "side_overhang", "strokes_per_sweep")
"""Keys of a spell that give its stroke a size."""


@dataclass(frozen=True)
class StrokeKind:
    """A kind of stroke: all that lists of kinds elsewhere follow from.

    Attributes
    ----------
    words : str
        Its name as people read it.
    path : int or None
        Number of its path in :mod:`wearsim.kernels.stroke_path`; None at rest.
    needs : tuple of str
        Those of :data:`SIZE_KEYS` that a spell cannot leave out.
    may : tuple of str
        Those that it may also give.
    """

    words: str
    path: int | None
    needs: tuple[str, ...] = ()
    may: tuple[str, ...] = ()

    @property
    def uses(self) -> tuple[str, ...]:
        """Sizes that it has."""
        return self.needs + self.may

    @property
    def refuses(self) -> tuple[str, ...]:
        """Keys of a spell that it has no use for."""
        at_rest = ("rate", "push") if self.path is None else ()
        return tuple(key for key in SIZE_KEYS if key not in self.uses) + at_rest


STROKES: dict[str, StrokeKind] = {
    "straight": StrokeKind("straight", 0, ("length",)),
    "one-third": StrokeKind("one-third", 0),
    "overhang": StrokeKind("overhang", 0, ("length", "side_overhang")),
    "w": StrokeKind("W", 1, ("length", "side_sweep"), ("side_overhang", "strokes_per_sweep")),
    "oval": StrokeKind("oval", 2, ("length", "side_sweep"), ("side_overhang",)),
    "press": StrokeKind("cold pressing", None),
}
"""The kinds of strokes, by the word that a file has for them."""


@dataclass(frozen=True)
class Stroke:
    """The path of the top piece's centre over the bottom piece's (physics section 5), SI.

    Attributes
    ----------
    kind : str
        ``straight`` (the one-third stroke too), ``overhang``, ``w`` or ``oval``.
    length : float
        Whole travel from end to end [m].
    side_sweep : float
        Half of the side-to-side travel [m].
    side_overhang : float
        How far to the side the middle of the stroke lies [m].
    strokes_per_sweep : float
        Strokes in one traverse from side to side [1].
    frequency : float
        Strokes a second [Hz].
    """

    kind: str
    length: float
    side_sweep: float
    side_overhang: float
    strokes_per_sweep: float
    frequency: float

    @property
    def numbers(self) -> tuple[int, float, float, float, float]:
        """What the kernels need of it: number of its path, length, sweep, overhang [m], strokes per sweep [1]."""
        path = STROKES[self.kind].path
        if path is None:
            raise ValueError(f"{self.kind} has no path")
        return path, self.length, self.side_sweep, self.side_overhang, self.strokes_per_sweep

    @property
    def is_swept(self) -> bool:
        """Whether the side sweep takes several strokes, so that one stroke is not like the next."""
        return "strokes_per_sweep" in STROKES[self.kind].uses

    @property
    def smallest_offset(self) -> float:
        """The nearest that the two centres come to each other [m]."""
        if self.kind != "oval":
            return max(0.0, self.side_overhang - self.side_sweep)
        return _nearest_of_oval(self.length / 2, self.side_sweep, self.side_overhang)


def _nearest_of_oval(half_length: float, sweep: float, overhang: float) -> float:
    """Smallest of ``|(half_length sin a, overhang + sweep cos a)|``.

    With ``c = cos a`` its square is ``half_length^2 (1 - c^2) + (overhang + sweep c)^2``, a parabola in c:
    the least is at an end, or at the vertex where it opens upwards.
    """
    inside = [-1.0, 1.0]
    curvature = sweep**2 - half_length**2
    if curvature > 0 and overhang * sweep < curvature:
        inside.append(-overhang * sweep / curvature)
    return min(math.hypot(half_length * math.sqrt(1 - c * c), overhang + sweep * c) for c in inside)


class Spell(InputTable):
    """One stroke kept up for some minutes, from ``[[spell]]``.

    Attributes
    ----------
    on_top : {"tool", "mirror"}
    stroke : str
        One of :data:`STROKES`.
    length, side_sweep, side_overhang : Extent or None
        As in :class:`Stroke`; None where the stroke has no use for it.
    strokes_per_sweep : float or None
        Strokes from one side to the other in a W stroke, at least 2.
    rate : float or None
        Strokes per minute; one stroke is out and back.
    minutes : float
        Duration [min].
    turn : float
        Angle by which the mirror is turned before the spell [rad].
    push : float or None
        Push of the hands [N], instead of the bench's.
    lap : str or None
        Name of the lap; None: the first.
    """

    also_called = MappingProxyType({"side": "side_sweep", "off_centre": "side_overhang", "off_center": "side_overhang"})
    on_top: Annotated[Literal["tool", "mirror"], *choice("tool", "mirror")] = default("tool", "the lap on the glass")
    stroke: Annotated[str, *choice(*STROKES)]
    length: Annotated[Extent, *extent(least=1e-4)] | None = None
    side_sweep: Annotated[Extent, *extent(least=0.0)] | None = None
    side_overhang: Annotated[Extent, *extent(least=0.0)] | None = default(Extent(0.0), "strokes over the centre")
    strokes_per_sweep: Annotated[float, *number("8", least=2.0, most=1000.0)] | None = default(
        8.0, "both pieces turned after 6-12 strokes: common practice, no source"
    )
    rate: Annotated[float, *number("50", least=0.1, most=600.0)] | None = default(
        50.0, "30-60 per minute by hand: common practice, no source"
    )
    minutes: Annotated[float, *number("10", least=1e-5, most=LONGEST_SPELL)]
    turn: Angle = default(0.0, "the mirror is not turned")
    push: Force | None = None
    lap: Name | None = None

    @property
    def is_press(self) -> bool:
        """Whether it is cold pressing: at rest, under the top piece's weight alone."""
        return self.stroke == "press"

    @property
    def taken_as_diameters(self) -> str:
        """That a plain number of 1 or more was taken as so many diameters; empty where there is none."""
        sizes = ((key, getattr(self, key)) for key in SIZE_KEYS[:3])
        return "".join(
            f"; {key} = {size.value:g} was taken as {counted(size.value, 'diameter')} of the mirror, because it has no unit"
            for key, size in sizes
            if size is not None and size.relative and size.value >= 1.0
        )

    @property
    def duration(self) -> float:
        """[s]."""
        return self.minutes * 60.0

    def stroke_on(self, diameter: float) -> Stroke:
        """The stroke on a mirror of this diameter [m]; a pressing has none.

        Parameters
        ----------
        diameter : float
            Of the mirror [m].

        Returns
        -------
        Stroke
            Its lengths in metres, its rate in strokes a second.

        Raises
        ------
        ValueError
            For a pressing.
        """
        if self.rate is None:
            raise ValueError("a pressing has no stroke")
        kind = "straight" if self.stroke == "one-third" else self.stroke
        length = diameter / 3 if self.length is None else self.length.on(diameter)
        sweep = self.side_sweep.on(diameter) if self.side_sweep else 0.0
        aside = self.side_overhang.on(diameter) if self.side_overhang else 0.0
        return Stroke(kind, length, sweep, aside, self.strokes_per_sweep or 8.0, self.rate / 60.0)

    @model_validator(mode="before")
    @classmethod
    def _check_sizes(cls, table: Any) -> Any:
        """Refuse what the stroke has no use for, and let its default be nothing."""
        stroke = table.get("stroke") if isinstance(table, dict) else None
        if not isinstance(stroke, str) or stroke not in STROKES:
            return table
        kind = STROKES[stroke]
        for key in kind.refuses:
            if table.get(key) is not None:
                raise InputError(f'the stroke "{stroke}" does not use this', key=key, value=table[key])
        for key in kind.needs:
            if table.get(key) is None:
                raise InputError(f'missing: the stroke "{stroke}" needs it', key=key, expected=_EXTENT)
        return {**table, **dict.fromkeys(kind.refuses)}


_EXTENT = '0.5 (of the mirror\'s diameter) or a length, such as "150 mm" or "6 in"'


def spell_sizes(spell: Spell, diameter: float, unit: LengthUnit) -> str:
    """The sizes of a spell's stroke on a mirror of this diameter [m]; empty for a pressing."""
    if spell.is_press:
        return ""
    stroke = spell.stroke_on(diameter)
    parts = [f"{unit.short(stroke.length)} long"]
    if stroke.side_sweep:
        parts.append(f"{unit.short(stroke.side_sweep)} to each side")
    if stroke.side_overhang:
        parts.append(f"{unit.short(stroke.side_overhang)} off centre")
    return ", ".join(parts)


class Programme(InputTable):
    """An ordered list of spells. Two programmes are equal when their spells are.

    Attributes
    ----------
    spells : tuple of Spell
        None at all is a programme that changes nothing.
    file : Path or None
        Where it was read.
    text : str
        The TOML as it was read.
    defaults_used : tuple of DefaultUsed
        What the file left to wearsim.
    """

    spells: tuple[Spell, ...] = ()
    file: Path | None = None
    text: str = ""
    defaults_used: tuple[DefaultUsed, ...] = ()

    def __eq__(self, other: object) -> bool:
        return self.spells == other.spells if isinstance(other, Programme) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.spells)

    @property
    def minutes_of_work(self) -> float:
        """Pressing not counted [min]."""
        return float(sum(spell.minutes for spell in self.spells if not spell.is_press))

    def check_on(self, bench: Bench) -> Self:
        """Refuse what this bench cannot do: a lap it has not, a stroke that never stands on the bottom piece.

        Parameters
        ----------
        bench : Bench
            On which the work would be done.

        Returns
        -------
        Programme
            This one, unchanged.

        Raises
        ------
        InputError
            Naming the spell.
        """
        for place, spell in enumerate(self.spells, start=1):
            _check_spell(spell, f"spell {place}", bench, self.file)
        return self


def _check_spell(spell: Spell, key: str, bench: Bench, file: Path | None) -> None:
    try:
        lap = bench.lap(spell.lap)
    except InputError as error:
        raise InputError(
            error.message, file=file, key=f"{key}.lap", value=error.value, expected=error.expected
        ) from error
    if spell.is_press:
        return
    bottom = bench.mirror.radius if spell.on_top == "tool" else lap.radius
    nearest, unit = spell.stroke_on(bench.mirror.diameter).smallest_offset, length_unit(bench)
    if nearest >= bottom:
        raise InputError(
            "the overhang is beyond the rim: the top piece's centre is never over the bottom piece",
            file=file,
            key=f"{key}.side_overhang",
            value=f"an offset of {unit.about(nearest, 4)} or more",
            expected=f"an offset of less than {unit.about(bottom, 4)} somewhere on the stroke",
        )
