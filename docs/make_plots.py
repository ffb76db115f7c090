"""The plots of the theory pages, drawn from the package itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

import wearsim as ws
from wearsim.bench.figure_source import FigureSource
from wearsim.bench.profile import read_profile
from wearsim.bench.programme import Stroke
from wearsim.figure.conic import MirrorGeometry
from wearsim.figure.spline import ProfileSpline
from wearsim.knifeedge.longitudinal import knife_aberration, target_aberration, tolerable_aberration, zone_readings
from wearsim.knifeedge.mask import design_mask
from wearsim.show.style import AFTER, BAND, BEFORE, BLUE, INK, QUIET, RED, new_figure, plot_style
from wearsim.wear.accuracy import DEFAULT
from wearsim.wear.flat import flat_contact, lift_off_offset
from wearsim.wear.initial_figure import start_figure
from wearsim.wear.planar.motion import nominal, place_on_path
from wearsim.wear.radial.offset_basis import offset_basis, path_matrix
from wearsim.wear.radial.path_weights import load_cases
from wearsim.wear.state import start_state

DASHES = ("-", "--", "-.", ":")


def flat_lap() -> Any:
    """Pressure under a flat lap of the mirror's size along the line of centres, tool on top."""
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        for offset, dash in zip((0.1, 1 / 3, 0.39, 0.6), DASHES, strict=True):
            found = flat_contact(1.0, 1.0, offset, np.pi, (offset, 0.0))
            x = np.linspace(offset - 1.0, 1.0, 400)
            pressure = [found.pressure(float(at)) for at in x]
            axes.plot(x, pressure, dash, color=BLUE, label=f"centres {offset / 2:.3f} D apart")
        axes.set(xlabel="place along the line of centres, mirror's radius = 1", ylabel="pressure, mean at rest = 1")
        axes.legend()
    return figure


def lift_off() -> Any:
    """How far a flat lap on top may hang over the rim before it begins to lift, for laps of all sizes."""
    sizes = np.linspace(0.4, 1.0, 25)
    over = [(lift_off_offset(1.0, float(q)) + q - 1.0) / (2.0 * q) for q in sizes]
    with plot_style():
        figure = new_figure(7.0, 3.4)
        axes = figure.subplots()
        axes.plot(sizes, over, color=BLUE)
        axes.set(xlabel="diameter of the lap, in mirrors", ylabel="overhang of its rim, in laps", ylim=(0, 0.3))
    return figure


def creep() -> Any:
    """A raised ring under a full-size lap: worn first while the lap has not yet followed."""
    bench = ws.load_bench("raised-zone-300")
    spell = ws.Spell(stroke="one-third", minutes=2, lap="full")
    with plot_style():
        figure = new_figure(7.5, 4.0)
        axes = figure.subplots()
        for minutes, dash in zip((2, 6, 14, 30), (":", "-.", "--", "-"), strict=True):
            outcome = ws.predict(bench, ws.Programme(spells=(spell,) * (minutes // 2)), draws=0)
            axes.plot(
                outcome.radius * 1e3, outcome.removal / minutes * 1e9, dash, color=BLUE, label=f"mean of {minutes} min"
            )
        twin = axes.twinx()
        twin.plot(outcome.radius * 1e3, outcome.before * 1e9, **{**BEFORE, "label": "figure before (right)"})
        twin.set_ylabel("figure error before [nm]")
        twin.grid(False)
        axes.set(xlabel="radius on the mirror [mm]", ylabel="removed per minute [nm]", ylim=(0, None))
        handles = [*axes.get_lines(), *twin.get_lines()]
        axes.legend(handles, [str(handle.get_label()) for handle in handles], loc="upper left", fontsize=8.5)
    return figure


def strokes() -> Any:
    """Paths of the top piece's centre over the bottom piece."""
    sizes = {
        "straight": ("straight", 0.5, 0.0, 0.0, 1), "overhang": ("overhang", 0.5, 0.0, 0.25, 1),
        "W": ("w", 0.6, 0.25, 0.0, 8), "oval": ("oval", 0.3, 0.2, 0.1, 1),
    }  # fmt: skip
    with plot_style():
        figure = new_figure(8.0, 2.3)
        for axes, (name, (kind, length, sweep, aside, each)) in zip(figure.subplots(1, 4), sizes.items(), strict=True):
            count = 2 * each
            moments = np.arange(count)[:, None] + np.arange(64)[None, :] / 64
            stroke = Stroke(kind, length, sweep, aside, float(max(each, 2)), 1.0)
            x, y, _, _ = place_on_path(stroke, moments, nominal(count))
            turn = np.linspace(0.0, 2 * np.pi, 200)
            axes.plot(0.5 * np.cos(turn), 0.5 * np.sin(turn), color=INK, linewidth=1.2)
            axes.plot(x.ravel(), y.ravel(), color=BLUE, linewidth=1.2)
            axes.set_title(name)
            axes.set_aspect("equal")
            axes.set_axis_off()
    return figure


def offset_weights_plot() -> Any:
    """Share of path at each offset for three strokes, and the basis they weigh."""
    bench = ws.load_bench("raised-zone-300").model_copy(update={"figure": FigureSource(conic=0.0)})
    lap, d = bench.lap("full"), bench.mirror.diameter
    cases = load_cases(bench.hands.friction_lead, tuple(bench.hands.push_offset))
    state = start_state(bench, start_figure(bench).radius, start_figure(bench).height, DEFAULT)
    basis = offset_basis(bench, state, "tool", lap)
    strokes = {
        "straight, D/3": Stroke("straight", d / 3, 0.0, 0.0, 8.0, 50 / 60),
        "W, 0.5 D and 0.2 D": Stroke("w", 0.5 * d, 0.2 * d, 0.0, 8.0, 50 / 60),
        "overhang, 0.3 D at 0.25 D": Stroke("overhang", 0.3 * d, 0.0, 0.25 * d, 8.0, 50 / 60),
    }
    with plot_style():
        figure = new_figure(8.5, 3.8)
        left, right = figure.subplots(1, 2)
        rows = path_matrix(list(strokes.values()), (0.06, 0.002), basis.offset, cases, "tool")
        step = (basis.offset[1] - basis.offset[0]) / d
        for name, row, dash in zip(strokes, rows, DASHES, strict=False):
            share = row.reshape(basis.offset.size, -1).sum(axis=1) / row.sum()
            left.plot(basis.offset / d, share / step, dash, color=BLUE, label=name)
        left.set(xlabel="offset of the centres, in D", ylabel="share of the path per D of offset", ylim=(-1, 38))
        left.legend(fontsize=8, loc="upper right")
        for i, dash in zip((0, 12, 24, 36), DASHES, strict=True):
            mean = basis.pressure[i].mean(axis=0) / 1e3
            right.plot(basis.radius * 1e3, mean, dash, color=RED, label=f"offset {basis.offset[i] / d:.2f} D")
        right.set(xlabel="radius on the mirror [mm]", ylabel="ring mean of the pressure [kPa]")
        right.legend(fontsize=8)
    return figure


def knife() -> Any:
    """Knife positions of a 300 mm f/5 paraboloid, and what is tolerable."""
    r = np.linspace(15.0, 150.0, 200) * 1e-3
    mirror = MirrorGeometry(3.0, radius=0.15, clear_radius=0.15)
    with plot_style():
        figure = new_figure(7.0, 4.0)
        axes = figure.subplots()
        for source, dash in (("moving", "-"), ("fixed", "--")):
            at = target_aberration(r, mirror, source) * 1e3
            allowed = tolerable_aberration(r, mirror, 550e-9, source) * 1e3
            axes.fill_between(r * 1e3, at - allowed, at + allowed, **BAND)
            axes.plot(r * 1e3, at, dash, color=BLUE, label=f"{source} source")
        axes.set(xlabel="zone [mm]", ylabel="knife, from the centre of curvature [mm]", ylim=(-1, 9))
        axes.legend(title="shaded: within the Airy disc")
    return figure


SINGLE_RADIUS = {
    "middle": lambda zones: (zones.inner + zones.outer) / 2,
    "root mean square": lambda zones: zones.middle,
    "mean of the two": lambda zones: ((zones.inner + zones.outer) / 2 + zones.middle) / 2,
}


def single_radius_errors(count: int, raised: bool) -> tuple[Any, dict[str, Any], Any]:
    """Radii [m], errors of each single-radius way [m] and what is tolerable [m], in each of so many windows.

    The knife position at the single radius less the reading through the window, on the worked 300 mm f/5
    mirror with its raised zone, or on a perfect paraboloid; moving source.
    """
    bench = ws.load_bench("raised-zone-300")
    mirror, wave = bench.mirror, bench.light.wavelength
    profile = read_profile(bench.figure.profile, mirror)
    error = profile.error if raised else 0.0 * profile.error
    zones = design_mask(count, mirror.geometry, wave).zones
    read = zone_readings(zones, profile.radius, error, mirror.geometry)
    spline = ProfileSpline(profile.radius, error)
    wrong = {
        name: knife_aberration(at, spline.height(at), spline.slope(at), mirror.geometry) - read
        for name, at in ((name, way(zones)) for name, way in SINGLE_RADIUS.items())
    }
    return zones.middle, wrong, tolerable_aberration(zones.middle, mirror.geometry, wave)


def single_radius() -> Any:
    """What each zone is misread by where its window is taken for one radius."""
    with plot_style():
        figure = new_figure(8.5, 5.6)
        plots = figure.subplots(2, 2, sharey="row")
        for row, raised, surface in zip(plots, (False, True), ("perfect", "a raised zone"), strict=True):
            for axes, count in zip(row, (5, 8), strict=True):
                at, wrong, tolerable = single_radius_errors(count, raised)
                for (name, values), mark in zip(wrong.items(), ("o-", "s--", "^:"), strict=True):
                    axes.plot(at * 1e3, values / tolerable, mark, color=BLUE, label=name)
                axes.axhline(0.0, color=QUIET, linewidth=0.8)
                axes.set(title=f"{surface}, {count} windows", xlabel="zone [mm]")
            row[0].set_ylabel("misread by, in what is tolerable")
        plots[0, 0].legend()
    return figure


def stop_short() -> Any:
    """Expected squared error against the share of the way, for a removal known within some factor."""
    share = np.linspace(0.0, 1.4, 200)
    with plot_style():
        figure = new_figure(7.0, 3.8)
        axes = figure.subplots()
        for factor, dash in zip((1.05, 1.25, 1.6, 2.5), DASHES, strict=True):
            variance = np.log(factor) ** 2
            mean, square = np.exp(variance / 2), np.exp(2 * variance)
            expected = np.sqrt(1 - 2 * share * mean + share**2 * square)
            best = mean / square
            axes.plot(share, expected, dash, color=BLUE, label=f"known within x {factor:g}: stop at {best:.2f}")
            axes.plot([best], [np.sqrt(1 - mean**2 / square)], "o", color=RED, markersize=5)
        axes.set(xlabel="removal aimed at, over the figure error", ylabel="expected error left, RMS", ylim=(0, 1.6))
        axes.legend()
    return figure


def band() -> Any:
    """The worked bench's prediction with its band."""
    bench = ws.load_bench("raised-zone-300")
    spell = ws.Spell(stroke="w", length=0.3, side_sweep=0.25, minutes=8, lap="full")
    outcome = ws.predict(bench, ws.Programme(spells=(spell,)), draws=32)
    with plot_style():
        figure = new_figure(7.0, 3.8)
        axes = figure.subplots()
        r = outcome.radius * 1e3
        axes.fill_between(r, *(outcome.band.figure_error * 1e9), label="5th to 95th percentile", **BAND)
        axes.plot(r, outcome.before * 1e9, label="before", **BEFORE)
        axes.plot(r, outcome.figure_error * 1e9, label="after", **AFTER)
        axes.axhline(0.0, color=QUIET, linewidth=0.8)
        axes.set(xlabel="radius on the mirror [mm]", ylabel="figure error [nm]")
        axes.legend()
    return figure


PLOTS: dict[str, Callable[[], Any]] = {
    "flat-lap": flat_lap, "lift-off": lift_off, "creep": creep, "strokes": strokes,
    "offset-basis": offset_weights_plot, "knife": knife, "single-radius": single_radius,
    "stop-short": stop_short, "band": band,
}  # fmt: skip
