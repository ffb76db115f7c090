"""A calibration as it is read and plotted: each constant as it was believed before and as the sessions show it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wearsim.bench.bench import Bench
from wearsim.learn.calibrate import FACTOR_90, Calibration, stated_constant
from wearsim.learn.wrong_records import SessionFit
from wearsim.show.numbers import temperature_text
from wearsim.show.style import BLUE, INK, QUIET, RED, new_figure, plot_style
from wearsim.show.text import paragraph, table
from wearsim.wear.constants import NAMES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


TITLES = {
    "preston": "Preston coefficient",
    "stiffness": "stiffness of the pitch",
    "relaxation_time": "relaxation time",
    "edge_gain": "edge gain",
}
UNITS = {"preston": (1.0, "/Pa"), "stiffness": (1e9, "GPa/m"), "relaxation_time": (60.0, "min"), "edge_gain": (1.0, "")}
DETERMINED = {
    "told": ("told", "by the sessions", "told by the sessions"),
    "partly": ("partly", "told in part", "partly told"),
    "prior": ("not told", "still what was believed before", "still what was believed before"),
    "known": ("known", "stated as exact", "stated as known"),
}
"""How far the sessions determine a constant: in a column of the table, what that means, and in the plot."""
OUTSIDE = {
    "preston": (
        "The glass wears {} times as fast", "the abrasive, the minutes that were recorded, push and masses and their units",
    ),
    "stiffness": ("The pitch is {} times as stiff", "its thickness, and which strokes were recorded"),
    "relaxation_time": ("The pitch takes {} times as long to flow", "which pitch it is, and the temperatures"),
    "edge_gain": ("The edge gain is {} times as large", "the outermost zones of the mask, and the lap's diameter"),
}  # fmt: skip
"""What is said of a constant outside of what the bench states, and what to check."""


def calibration_text(bench: Bench, found: Calibration) -> str:
    """Constants with their intervals, what the data tell, and how each session fits."""
    rows = []
    low, high = np.exp(found.posterior.interval())
    before = np.sqrt(np.diagonal(found.prior.covariance))
    for i, name in enumerate(NAMES):
        size, unit = UNITS[name]
        stated = stated_constant(bench, name)[0] / size
        factor = float(np.exp(FACTOR_90 * before[i]))
        rows.append((
            TITLES[name], f"{stated / factor:.3g} to {stated * factor:.3g}",
            f"{stated * low[i]:.3g} to {stated * high[i]:.3g} {unit}".rstrip(), DETERMINED[found.determined(name)][0],
        ))  # fmt: skip
    parts = [
        f"{table(('', 'Before, 90 %', 'Now, 90 %', ''), rows, words=(0, 3))}\n{_note(found)}",
        *(_outside(name, factor, found) for name, factor in found.outside.items()),
        _spread(bench, found),
        _sessions(found),
    ]
    return "\n\n".join(parts)


def _note(found: Calibration) -> str:
    """What the words of the last column mean, those that stand there."""
    there = {found.determined(name) for name in NAMES}
    notes = [f"{word}: {explanation}" for one, (word, explanation, _) in DETERMINED.items() if one in there]
    return paragraph(f"Before: as believed before the sessions; {'; '.join(notes)}.")


def _outside(name: str, factor: float, found: Calibration) -> str:
    """What is said where a constant came out beyond what the bench states of it."""
    what, causes = OUTSIDE[name]
    most = np.exp(FACTOR_90 * np.sqrt(found.prior.covariance[NAMES.index(name), NAMES.index(name)]))
    return paragraph(
        f"{what.format(f'{factor:.2g}')} as the bench says, outside the {1 / most:.2g} to {most:.2g} times that it "
        f"allows (90 %): check {causes}."
    )


def _spread(bench: Bench, found: Calibration) -> str:
    text = f"Removals vary by about {found.posterior.spread:.0%} from one session to the next. "
    text += f"Relaxation time at {temperature_text(bench.laps[0].pitch_temperature, bench)}"
    if len(bench.laps) > 1:
        text += "; stiffness and relaxation time of the first lap, the others by the same factors"
    return paragraph(f"{text}.")


def _sessions(found: Calibration) -> str:
    rows = [
        (str(fit.number), f"{fit.chi_square:.1f}", str(fit.compared), _chance(fit), _verdict(fit))
        for fit in found.sessions
    ]
    lines = [table(("Session", "Chi-square", "of", "Chance", ""), rows, words=(0, 4))]
    if any(fit.is_doubtful for fit in found.sessions):
        lines.append(paragraph(
            "Doubtful: it misses by more than its readings explain, but believing all records is still likelier than that "
            "any one is wrong. Look over the programmes and sheets of all sessions (piece on top, minutes, source fixed or "
            "moving, abrasive); till then the constants above may be bent. For these intervals everything is taken to be "
            f"{found.ratio:.1f} times as uncertain as it is stated."
        ))  # fmt: skip
    lines += [paragraph(_size(fit)) for fit in found.sessions if fit.has_size_in_doubt]
    lines += [
        paragraph(
            f"Session {fit.number} does not fit {fits_not(len(found.sessions))} and is set aside: another piece on top, "
            "another stroke, a spell not recorded, a lap not pressed, the sheet of another day?"
        )
        for fit in found.sessions
        if not fit.fits
    ]
    if not all(fit.fits for fit in found.sessions):
        lines.append(paragraph(
            "The constants are not bent to the record of a session that is set aside; its chi-square and chance are those "
            "of its record believed."
        ))  # fmt: skip
    return "\n".join(lines)


def _size(fit: SessionFit) -> str:
    """What is said of a session whose removal may be of another size than its record says."""
    what = f"{fit.factor:.2g} times what its record should give"
    if fit.is_of_other_size:
        return (
            f"Session {fit.number}: its removal is {what} (chance {_percent(fit.size_chance)}): minutes written wrong, or "
            "push, masses or abrasive other than recorded. The constants are found with its size left open."
        )
    return (
        f"Size in doubt: the removal of session {fit.number} may be {what} (chance {_percent(fit.size_chance)}). Look over "
        "its minutes, push, masses and abrasive; till then the intervals above allow for both."
    )


def _percent(chance: float) -> str:
    return "over 99%" if chance > 0.99 else f"{chance:.0%}"


def fits_not(sessions: int) -> str:
    """What a session that is set aside does not fit, by how many sessions there are."""
    return "the others" if sessions > 1 else "what was believed of pitch and abrasive"


def _chance(fit: SessionFit) -> str:
    return f"{fit.chance:.0%}" if fit.chance >= 0.01 else "under 1%"


def _verdict(fit: SessionFit) -> str:
    if not fit.fits:
        return "does not fit: set aside"
    if fit.is_of_other_size:
        return f"{fit.factor:.2g} times its size"
    if fit.has_size_in_doubt and not fit.is_doubtful:
        return "size in doubt"
    return "doubtful" if fit.is_doubtful else "fits"


def calibration_figure(bench: Bench, found: Calibration) -> Figure:
    """Plot a calibration."""
    with plot_style():
        figure = new_figure(8.5, 6.0)
        upper, lower = figure.subplots(2, 1, height_ratios=[2.4, 1.0])
        _constants(upper, bench, found)
        _session_bars(lower, found)
    return figure


def _constants(axes: Axes, bench: Bench, found: Calibration) -> None:
    """Intervals as factors on what the bench states, the sizes themselves written beside."""
    low, high = np.exp(found.posterior.interval())
    middle = np.exp(found.belief.mean)
    before = np.exp(FACTOR_90 * np.sqrt(np.diagonal(found.prior.covariance)))
    for row, name in enumerate(NAMES):
        size, unit = UNITS[name]
        stated = stated_constant(bench, name)[0] / size
        axes.plot([1 / before[row], before[row]], [row, row], color=QUIET, linewidth=2.0,
                  label="believed before, 90 %" if row == 0 else None)  # fmt: skip
        axes.plot([low[row], high[row]], [row, row], color=BLUE, linewidth=8.0, solid_capstyle="butt",
                  label="now, 90 %" if row == 0 else None)  # fmt: skip
        axes.plot(middle[row], row, "|", color="white", markersize=9, markeredgewidth=2.0)
        words = f"{stated * middle[row]:.3g} {unit}".rstrip() + f": {DETERMINED[found.determined(name)][2]}"
        axes.annotate(words, (middle[row], row), (0, 9), textcoords="offset points", ha="center", fontsize=9,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip
    axes.axvline(1.0, color=INK, linewidth=0.8)
    axes.set_xscale("log")
    ticks = [t for t in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if 1 / before.max() <= t <= before.max()]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    axes.set_yticks(range(len(NAMES)), [TITLES[name] for name in NAMES])
    axes.set_ylim(len(NAMES) - 0.4, -0.8)
    axes.set_xlabel("factor on what the bench states")
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)


def _session_bars(axes: Axes, found: Calibration) -> None:
    """How far each session's readings stand from what is expected, in sigmas, root mean square."""
    numbers = [fit.number for fit in found.sessions]
    away = [np.sqrt(fit.chi_square / fit.compared) for fit in found.sessions]
    is_suspect = [not fit.fits or fit.is_doubtful or fit.has_size_in_doubt for fit in found.sessions]
    colours = [RED if one else BLUE for one in is_suspect]
    axes.bar(numbers, away, color=colours, width=0.5)
    for fit, height in zip(found.sessions, away, strict=True):
        if not fit.fits or fit.has_size_in_doubt:
            words = "size in doubt" if fit.fits else "does not fit"
            above = max(height, 1.0) if fit.fits else height  # clear of the line at 1
            axes.annotate(words, (fit.number, above), (0, 3), textcoords="offset points", ha="center")
    axes.axhline(1.0, color=INK, linewidth=0.8, linestyle=(0, (5, 2)))
    axes.set_xticks(numbers)
    axes.set_xlim(numbers[0] - 1.0, numbers[-1] + 1.0)
    axes.set_ylim(0.0, 1.2 * max([*away, 1.2]))
    axes.set_xlabel("session")
    axes.set_ylabel("readings from\nexpected [sigmas]")
