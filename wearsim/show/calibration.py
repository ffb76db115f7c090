"""A calibration as it is read and plotted: each constant as it was believed before and as the sessions show it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.bench.personal_units import temperature_words
from wearsim.bench.units import decimal, length_unit
from wearsim.learn.calibrate import FACTOR_90, Calibration, as_stated, stated_constant
from wearsim.learn.session_fit import SessionFit
from wearsim.show.style import BLUE, INK, QUIET, RED, new_figure, plot_style
from wearsim.show.text import paragraph, table
from wearsim.wear.constants import IS_FACTOR, NAMES, PRODUCTS, Belief, powers

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


TITLES = {
    "preston": "Preston coefficient",
    "stiffness": "stiffness of the pitch",
    "relaxation_time": "relaxation time",
    "edge_gain": "edge gain",
    "stroke_length": "stroke length relative to that recorded",
    "overhang_bias": "sideways bias of strokes",
    "smoothing": "wear of high zones",
    "flow": "flow of the pitch",
}
UNITS = {
    "preston": (1.0, "/Pa"), "stiffness": (1e9, "GPa/m"), "relaxation_time": (60.0, "min"), "edge_gain": (1.0, ""),
    "stroke_length": (1.0, ""),
}  # fmt: skip
DETERMINED = {
    "told": ("determined", "by your sessions", "determined by the sessions"),
    "partly": ("partly", "narrowed by the sessions", "partly determined"),
    "prior": ("not determined", "unchanged by the sessions", "not determined"),
    "known": ("known", "stated as exact", "stated as known"),
}
"""How far the sessions determine a constant: in a column of the table, what that means, and in the plot."""
OUTSIDE = {
    "preston": (
        "The glass wears {} times as fast as the bench says",
        "the abrasive, the minutes that were recorded, push and masses and their units",
    ),
    "stiffness": (
        "The pitch is {} times as stiff as the bench says", "its thickness, and which strokes were recorded",
    ),
    "relaxation_time": (
        "The pitch takes {} times as long to flow as the bench says", "which pitch it is, and the temperatures",
    ),
    "edge_gain": (
        "The edge gain is {} times as large as the bench says",
        "the outermost zones of the mask, and the lap's diameter",
    ),
    "stroke_length": (
        "Your strokes are {} times as long as recorded",
        "how the length of a stroke was measured: from end to end",
    ),
    "overhang_bias": (
        "Your strokes are {} farther to one side than recorded",
        "how far over the edge the top piece goes at each end",
    ),
}  # fmt: skip
"""What is said of a constant outside the range that the bench states, and what to check."""
PLAIN_PRODUCTS = {
    "smoothing": "High zones wear {} times as fast as the bench says",
    "flow": "The pitch flows {} times as fast as the bench says",
}


def calibration_text(bench: Bench, found: Calibration) -> str:
    """Constants with their intervals, what the data determine, and how each session fits."""
    rows = [_row(bench, found, place) for place in range(len(NAMES))] + [_product(found, name) for name in PRODUCTS]
    parts = [
        f"{table(('', 'Before, 90%', 'Now, 90%', ''), rows, words=(0, 3))}\n{_note(found)}",
        *(_outside(bench, name, factor, found) for name, factor in found.outside.items()),
        _spread(bench, found),
        _sessions(found),
    ]
    return "\n\n".join(parts)


def plain_words(bench: Bench, found: Calibration) -> list[str]:
    """What the sessions show, a sentence for each constant and product that they determine, wholly or in part."""
    size, unit = _unit(bench, "overhang_bias")
    shown, open_ones = [], []
    for place, name in enumerate(NAMES):
        middle = float(found.belief.mean[place])
        how = _times(np.exp(middle)) if IS_FACTOR[place] else f"about {middle / size:.2g} {unit}"
        shown.append((name, found.determined(name), OUTSIDE[name][0], how))
    for name, words in PLAIN_PRODUCTS.items():
        shown.append((name, found.determined_of(powers(name)), words, _times(found.product(name)[1])))
    lines = []
    for name, how_far, words, how in shown:
        sentence = words.replace("{} times as", how).replace("{}", how)
        if how_far in ("told", "partly"):
            lines.append(f"{sentence}{'' if how_far == 'told' else ', judging by the sessions so far'}.")
        elif how_far == "prior":
            open_ones.append(TITLES[name])
    if found.misfits:
        numbers = ", ".join(map(str, found.misfits))
        verb, it = ("does", "it counts") if len(found.misfits) == 1 else ("do", "they count")
        lines.append(
            f"Session{'s' * (len(found.misfits) > 1)} {numbers} {verb} not agree with the rest, so {it} for little. "
            f"Check {'the record' if verb == 'does' else 'their records'}."
        )
    return [*lines, *([f"Not determined yet: {', '.join(open_ones)}."] if open_ones else [])]


def _times(factor: float) -> str:
    """A factor as it stands before "fast as"."""
    if 0.9 < factor < 1.1:
        return "about as"
    words = {0.5: "half", 2.0: "twice"}
    return next((f"about {word} as" for one, word in words.items() if abs(factor / one - 1.0) < 0.1), "") or (
        f"about {factor:.2g} times as"
    )


def _unit(bench: Bench, name: str) -> tuple[float, str]:
    """Size in SI units and name of the unit in which a constant is shown; lengths as the bench has them."""
    unit = length_unit(bench)
    return UNITS.get(name, (unit.size, unit.name))


def learned_text(bench: Bench, belief: Belief) -> str:
    """The constants that predictions and proposals use once sessions are taken in."""
    words = []
    for place, name in enumerate(NAMES):
        size, unit = _unit(bench, name)
        value = as_stated(stated_constant(bench, name)[0], float(belief.mean[place]), place) / size
        if name == "stroke_length":
            words.append(f"strokes {value:.2f} times as long as recorded")
        elif name == "overhang_bias":
            words.append(f"{TITLES[name]} {decimal(value, 1 if unit == 'mm' else 2)} {unit}")
        else:
            words.append(f"{TITLES[name]} {value:.3g} {unit}".rstrip())
    return paragraph(f"Used, from your sessions: {'; '.join(words)}.")


def _row(bench: Bench, found: Calibration, place: int) -> tuple[str, ...]:
    """A constant before and now, in the units of people."""
    name = NAMES[place]
    (size, unit), stated = _unit(bench, name), stated_constant(bench, name)[0]
    sigma = FACTOR_90 * float(np.sqrt(found.prior.covariance[place, place]))
    before = [as_stated(stated, end, place) / size for end in (-sigma, sigma)]
    now = [as_stated(stated, float(end), place) / size for end in found.posterior.interval()[:, place]]
    return (
        TITLES[name], f"{before[0]:.3g} to {before[1]:.3g}", f"{now[0]:.3g} to {now[1]:.3g} {unit}".rstrip(),
        DETERMINED[found.determined(name)][0],
    )  # fmt: skip


def _product(found: Calibration, name: str) -> tuple[str, ...]:
    """A product of constants relative to the bench's value."""
    row = powers(name)
    factor = float(np.exp(FACTOR_90 * np.sqrt(row @ found.prior.covariance @ row)))
    low, _, high = found.product(name)
    word = DETERMINED[found.determined_of(row)][0]
    return TITLES[name], f"{1 / factor:.2g} to {factor:.2g}", f"{low:.2g} to {high:.2g}", word


def _note(found: Calibration) -> str:
    """What the words of the last column mean, those that are used."""
    there = {found.determined(name) for name in NAMES} | {found.determined_of(powers(name)) for name in PRODUCTS}
    notes = [f"{word}: {explanation}" for one, (word, explanation, _) in DETERMINED.items() if one in there]
    return paragraph(
        f"{'; '.join(notes)}. Wear of high zones is Preston coefficient times stiffness; flow is 1 / (stiffness times "
        "relaxation time), both as multiples of the bench's values. Sessions determine these products better than "
        "their separate factors."
    )


def _outside(bench: Bench, name: str, factor: float, found: Calibration) -> str:
    """What is said where a constant is outside the range that the bench states."""
    what, causes = OUTSIDE[name]
    place = NAMES.index(name)
    reach = FACTOR_90 * float(np.sqrt(found.prior.covariance[place, place]))
    if IS_FACTOR[place]:
        found_at, allowed = f"{factor:.2g}", f"{np.exp(-reach):.2g} to {np.exp(reach):.2g}"
    else:
        size, unit = _unit(bench, name)
        found_at, allowed = f"{factor / size:.2g} {unit}", f"{-reach / size:.2g} to {reach / size:.2g} {unit}"
    return paragraph(f"{what.format(found_at)}, outside the {allowed} that the bench allows (90%). Check {causes}.")


def _spread(bench: Bench, found: Calibration) -> str:
    if found.knows_spread:
        text = f"Removals vary by about {found.posterior.spread:.0%} from session to session"
    else:
        text = f"Removals are assumed to vary by about {found.posterior.spread:.0%} from session to session; "
        text += "your sessions do not determine this yet"
    text += f". The relaxation time above is for {temperature_words(bench.laps[0].pitch_temperature, bench)}"
    if len(bench.laps) > 1:
        text += ", stiffness and relaxation time for the first lap; those of the other laps change by the same factors"
    nothing = all(found.determined(name) in ("prior", "known") for name in NAMES)
    if nothing and all(found.determined_of(powers(name)) in ("prior", "known") for name in PRODUCTS):
        text = f"Your sessions determine nothing yet: these are the values assumed beforehand. {text}"
    return paragraph(f"{text}.")


def _sessions(found: Calibration) -> str:
    rows = [
        (str(fit.number), f"{fit.chi_square:.1f}", str(fit.compared), f"{fit.weight:.2f}", _verdict(fit))
        for fit in found.sessions
    ]
    lines = [table(("Session", "Chi-square", "Expected", "Weight", ""), rows, words=(0, 4))]
    note = "Chi-square: how badly a session fits; about the number expected where it fits. Weight: how much it counts, "
    lines.append(paragraph(f"{note}1 = fully."))
    lines += [paragraph(_misfit(fit, found)) for fit in found.sessions if not fit.fits]
    return "\n".join(lines)


def _misfit(fit: SessionFit, found: Calibration) -> str:
    """What is said of a session that does not fit: what would explain it, what it changes, and what can be done."""
    text = f"Session {fit.number} does not agree with {fits_not(len(found.sessions))}, so it is given little weight. "
    if fit.is_of_other_size:
        text += f"A removal {fit.factor:.2g} times as large would explain it: check the minutes, push, masses and abrasive. "
    else:
        text += (
            "No change in the amount removed would explain it: check the piece on top, the strokes, the pressing of the lap "
            "and the date of the sheet. "
        )
    text += (
        f"Correct it with record --replace {fit.number}, or record --confirm {fit.number} if it is as you wrote it. "
        "The figure after it relies mostly on the readings."
    )
    return text


def fits_not(sessions: int) -> str:
    """What a session does not fit, by how many sessions there are."""
    return "the other sessions" if sessions > 1 else "the assumed pitch and abrasive"


def _verdict(fit: SessionFit) -> str:
    if not fit.fits:
        return "does not fit"
    return "confirmed" if fit.confirmed else "fits"


def calibration_figure(bench: Bench, found: Calibration) -> Figure:
    """Plot a calibration."""
    with plot_style():
        figure = new_figure(8.5, 6.0)
        upper, lower = figure.subplots(2, 1, height_ratios=[2.4, 1.0])
        _constants(upper, bench, found)
        _session_bars(lower, found)
    return figure


def _constants(axes: Axes, bench: Bench, found: Calibration) -> None:
    """Intervals as factors on the bench's values, the values themselves written beside."""
    names = [name for place, name in enumerate(NAMES) if IS_FACTOR[place]]
    low, high = np.exp(found.posterior.interval())
    middle = np.exp(found.belief.mean)
    before = np.exp(FACTOR_90 * np.sqrt(np.diagonal(found.prior.covariance)))
    for row, name in enumerate(names):
        size, unit = _unit(bench, name)
        stated = stated_constant(bench, name)[0] / size
        axes.plot([1 / before[row], before[row]], [row, row], color=QUIET, linewidth=2.0,
                  label="before, 90%" if row == 0 else None)  # fmt: skip
        axes.plot([low[row], high[row]], [row, row], color=BLUE, linewidth=8.0, solid_capstyle="butt",
                  label="now, 90%" if row == 0 else None)  # fmt: skip
        axes.plot(middle[row], row, "|", color="white", markersize=9, markeredgewidth=2.0)
        words = f"{stated * middle[row]:.3g} {unit}".rstrip() + f": {DETERMINED[found.determined(name)][2]}"
        axes.annotate(words, (middle[row], row), (0, 9), textcoords="offset points", ha="center", fontsize=9,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
    axes.axvline(1.0, color=INK, linewidth=0.8)
    axes.set_xscale("log")
    ticks = [t for t in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if 1 / before.max() <= t <= before.max()]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    axes.set_yticks(range(len(names)), [TITLES[name] for name in names])
    axes.set_ylim(len(names) - 0.4, -0.8)
    axes.set_xlabel("relative to the bench's value")
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)


def _session_bars(axes: Axes, found: Calibration) -> None:
    """How far each session's readings are from what is expected, in sigmas, root mean square."""
    numbers = [fit.number for fit in found.sessions]
    away = [np.sqrt(fit.chi_square / fit.compared) for fit in found.sessions]
    axes.bar(numbers, away, color=[BLUE if fit.fits else RED for fit in found.sessions], width=0.5)
    for fit, height in zip(found.sessions, away, strict=True):
        if not fit.fits:
            axes.annotate("does not fit", (fit.number, height), (0, 3), textcoords="offset points", ha="center")
    axes.axhline(1.0, color=INK, linewidth=0.8, linestyle=(0, (5, 2)))
    axes.set_xticks(numbers)
    axes.set_xlim(numbers[0] - 1.0, numbers[-1] + 1.0)
    axes.set_ylim(0.0, 1.2 * max([*away, 1.2]))
    axes.set_xlabel("session")
    axes.set_ylabel("reading minus\nexpected [sigma]")
