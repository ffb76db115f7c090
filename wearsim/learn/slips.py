"""What a person may have worked instead of what was written down: slips that predict a removal of their own.

Each is the session as it would have been. What strokes and lengths are tried is a judgement; so is how often a slip
happens. A slip that is none of these is a removal of unknown size and shape (:mod:`wearsim.learn.misfits`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from wearsim.bench.fields import Extent
from wearsim.bench.programme import Programme, Spell
from wearsim.bench.toml_io import programme_from_table, spell_table
from wearsim.errors import InputError
from wearsim.learn.chain import Link

SHARE = 0.003
"""Share of sessions in which a slip of one kind was made, all its cases together: seven kinds, one in fifty. A judgement."""
USUAL: tuple[dict[str, Any], ...] = (
    {"stroke": "one-third"},
    {"stroke": "straight", "length": 0.5},
    {"stroke": "w", "length": 0.5, "side_sweep": 0.2},
    {"stroke": "overhang", "length": 0.5, "side_overhang": 0.15},
    {"stroke": "oval", "length": 0.4, "side_sweep": 0.15},
)
"""Strokes that are tried in place of another; one that has a length keeps that of the record."""
FORGOTTEN = (USUAL[0], USUAL[2])
"""Strokes of a spell that was not written down."""
LONGER = 1.4
"""A length is tried so many times longer and shorter [1]."""


@dataclass(frozen=True, eq=False)
class Slip:
    """One session as it may have been.

    Parameters
    ----------
    kind : str
        One of the keys of :data:`KINDS`.
    said : str
        What was done, in words that follow "as if".
    link : Link
        The session so recorded.
    share : float
        Of sessions in which that happened [1].
    """

    kind: str
    said: str
    link: Link
    share: float


def slips_of(link: Link, *, is_first: bool) -> tuple[Slip, ...]:
    """Slips that may have been made in recording a session; the share of each kind is divided among its cases.

    Parameters
    ----------
    link : Link
    is_first : bool
        Whether no session came before it.
    """
    told: list[Slip] = []
    for kind, cases in _by_kind(link, is_first).items():
        possible = [(said, other) for said, other in cases if _can_be(other) and other != link]
        told += [Slip(kind, said, other, SHARE / len(possible)) for said, other in possible]
    return tuple(told)


def _by_kind(link: Link, is_first: bool) -> dict[str, list[tuple[str, Link]]]:
    spells = link.programme.spells
    worked = [place for place, spell in enumerate(spells) if not spell.is_press]
    if not worked:
        return {"lap": list(_not_pressed(link, is_first))}

    def other(changes: dict[int, Spell | None], *more: Spell) -> Link:
        """The session with some spells changed or left out, and others worked at its end."""
        kept = [changes.get(place, spell) for place, spell in enumerate(spells)]
        done = tuple(spell for spell in kept if spell is not None)
        return replace(link, programme=Programme(spells=(*done, *more)))

    turned = {place: _other_piece(spells[place]) for place in worked}
    piece = [(f"the other piece was on top in spell {i + 1}", other({i: turned[i]})) for i in worked]
    if len(worked) > 1:
        piece.append(("the other piece was on top in every spell", other(dict(turned))))
    minutes = [
        (f"{word} the minutes were worked", other({i: _worked(spells[i], factor) for i in worked}))
        for word, factor in (("half", 0.5), ("twice", 2.0))
    ]
    skipped = [(f"spell {i + 1} was not worked", other({i: None})) for i in worked]
    if len(worked) > 2:
        skipped.append((f"only spell {worked[0] + 1} was worked", other(dict.fromkeys(worked[1:]))))
    mean = sum(spells[i].minutes for i in worked) / len(worked)
    forgotten = [
        (
            f"a spell more was worked, such as {_spoken(stroke['stroke'])} with the {top} on top",
            other({}, _spell({**stroke, "on_top": top, "minutes": mean, "lap": spells[worked[0]].lap})),
        )
        for stroke in FORGOTTEN
        for top in ("tool", "mirror")
    ]
    stroke = [
        (f"spell {i + 1} was another stroke, such as {_spoken(one['stroke'])}", other({i: _as_stroke(spells[i], one)}))
        for i in worked
        for one in USUAL
        if one["stroke"] != spells[i].stroke
    ]
    length = [
        (f"the strokes of spell {i + 1} were {word}", other({i: _long(spells[i], factor)}))
        for i in worked
        for word, factor in (("longer", LONGER), ("shorter", 1.0 / LONGER))
        if spells[i].length is not None
    ]
    return {
        "piece": piece, "minutes": minutes, "lap": list(_not_pressed(link, is_first)), "not worked": skipped,
        "not written": forgotten, "stroke": stroke, "length": length,
    }  # fmt: skip


def _not_pressed(link: Link, is_first: bool) -> Iterator[tuple[str, Link]]:
    """The session without the pressings that are recorded, and on a lap that was not pressed before it."""
    spells = link.programme.spells
    without = Programme(spells=tuple(spell for spell in spells if not spell.is_press))
    has_press = len(without.spells) < len(spells)
    starts_pressed = link.lap == "pressed" or (link.lap is None and is_first and _is_pressed(link))
    if has_press and not starts_pressed:
        yield "the lap was not pressed", replace(link, programme=without)
    if starts_pressed:
        yield "the lap was spherical and was not pressed", replace(link, programme=without, lap="spherical")
        if not is_first:
            yield ("the lap was left as it was and not pressed", replace(link, programme=without, lap="as left"))


def _is_pressed(link: Link) -> bool:
    return any(lap.start == "pressed" for lap in link.bench.laps)


def _can_be(link: Link) -> bool:
    try:
        link.programme.check_on(link.bench)
    except InputError:
        return False
    return True


def _spell(table: dict[str, Any]) -> Spell:
    kept = {key: value for key, value in table.items() if value is not None}
    return programme_from_table({"spell": [kept]}).spells[0]


def _other_piece(spell: Spell) -> Spell:
    return spell.model_copy(update={"on_top": "mirror" if spell.on_top == "tool" else "tool"})


def _worked(spell: Spell, factor: float) -> Spell:
    return spell.model_copy(update={"minutes": factor * spell.minutes})


def _long(spell: Spell, factor: float) -> Spell:
    length = spell.length or Extent(0.0)
    return spell.model_copy(update={"length": Extent(factor * length.value, length.relative)})


def _as_stroke(spell: Spell, stroke: dict[str, Any]) -> Spell:
    """A spell with another stroke, everything else as it was."""
    table = spell_table(spell)
    kept = {key: table.get(key) for key in ("lap", "on_top", "minutes", "rate", "push", "turn")}
    if "length" in stroke and "length" in table:
        kept["length"] = table["length"]
    return _spell({**stroke, **kept})


def _spoken(stroke: str) -> str:
    return {"w": "a W stroke", "oval": "an oval stroke", "overhang": "an overhang stroke"}.get(
        stroke, f"a {stroke} stroke"
    )
