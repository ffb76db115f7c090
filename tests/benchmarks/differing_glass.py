"""What becomes of honest sessions on glass that differs from the model in one thing at a time.

    python -m tests.benchmarks.differing_glass

A mirror of 250 mm f/5 on the independent glass (``independent_glass.py``), wear 1.4, stiffness 0.6 times the bench's:
three sessions by hand, each measured with a profile of 22 rows. Prints chi-square by session (19 numbers each) and the
90% intervals of what the sessions give. Then a second mirror, a sphere of 0.5 m f/5.9 on pitch of 13 minutes read at eight
single radii, through six sessions as proposed: its true RMS beside the band of what is known.
"""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from tests.benchmarks.closed_loop import _known
from tests.benchmarks.independent_glass import NONE, REAL, Glass, GlassConstants, GlassOptions
from tests.benchmarks.real_glass_coverage import PROGRAMMES, programme_by_hand, stream, true_rms
from wearsim.bench.profile import write_profile
from wearsim.bench.programme import Programme
from wearsim.bench.toml_io import dump_programme
from wearsim.decide.propose import propose
from wearsim.knifeedge.longitudinal import Zones
from wearsim.learn.calibrate import calibrate
from wearsim.learn.mirror_folder import SessionNote, open_folder
from wearsim.learn.practice.mirror import draw_mirror, sheet_text
from wearsim.learn.present_state import calibrated_state
from wearsim.learn.record import create_folder, record
from wearsim.wear.constants import NAMES

TRUE = GlassConstants(preston=1.4, stiffness=0.6)
ROWS: tuple[tuple[str, GlassOptions, float], ...] = (
    ("nothing; profile good to 5 nm", NONE, 5e-9),
    ("nothing; profile good to 20 nm", NONE, 20e-9),
    ("strokes 8% long", replace(NONE, length_factor=1.08), 5e-9),
    ("lap 3% smaller, rim softer", replace(NONE, lap_size=0.97, rim_softness=0.3), 5e-9),
    ("everything", REAL, 5e-9),
)
SEED = 12


def one_row(options: GlassOptions, sigma: float) -> tuple[list[float], dict[str, list[float]]]:
    """Chi-square of each session, and the 90% intervals of wear and stiffness as factors on the bench's."""
    drawn = draw_mirror(SEED, "raised ring", 0.25, 5.0)
    error = drawn.start.height - drawn.bench.mirror.geometry.departure(drawn.start.radius)
    glass = Glass(drawn.bench, drawn.start.radius, error, options, TRUE, SEED)
    with tempfile.TemporaryDirectory() as scratch:
        place, path, done = Path(scratch) / "mirror", Path(scratch) / "after.csv", Path(scratch) / "done.toml"

        def measure(number: int) -> Path:
            found = glass.measured_profile(sigma, seed=number)
            write_profile(path, found.radius, found.error, found.sigma)
            return path

        text = drawn.text.replace('readings = "readings.toml"', 'profile = "before.csv"')
        create_folder(place, text, {"before.csv": measure(0).read_text()})
        for number in (1, 2, 3):
            programme = programme_by_hand(stream(SEED, PROGRAMMES, number))
            done.write_text(dump_programme(programme))
            glass.work(programme)
            record(place, done, note=SessionNote(date=date(2026, 1, number)), profile=measure(number))
        found = calibrate(open_folder(place))
    low, high = np.exp(found.posterior.interval())
    ends = {name: [float(low[i]), float(high[i])] for i, name in enumerate(NAMES) if name in ("preston", "stiffness")}
    return [one.chi_square for one in found.sessions], ends


def second_mirror(sessions: int = 6) -> list[str]:
    """Lines of the second mirror: RMS as it truly is, as everything together gives it, and as read alone."""
    drawn = draw_mirror(SEED, "sphere", 0.5, 5.9)
    text = drawn.text.replace('facet_shape = "none"', 'facet_shape = "none"\nrelaxation_time = "13 min"')
    error = drawn.start.height - drawn.bench.mirror.geometry.departure(drawn.start.radius)
    glass = Glass(drawn.bench, drawn.start.radius, error, REAL, replace(TRUE, relaxation_time=2.6), SEED)
    zones = Zones.from_radii(np.linspace(0.25, 0.97, 8) * drawn.bench.mirror.radius)
    lines = [f"before: true {1e9 * true_rms(glass):.0f} nm"]
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch) / "mirror"
        create_folder(place, text, {"readings.toml": _sheet(glass, zones, 0)})
        for number in range(1, sessions + 1):
            state = calibrated_state(open_folder(place))
            programme = propose(state.bench, minutes=60.0, starts=2, **state.arguments).programme
            if not programme.spells:
                return [*lines, "nothing more is proposed"]
            glass.work(programme)
            _record(place, programme, _sheet(glass, zones, number), number)
            found = _known(calibrated_state(open_folder(place)), SEED)
            low, high = found["known_band_m"]
            lines.append(
                f"session {number}: true {1e9 * true_rms(glass):.0f} nm, known {1e9 * found['known_m']:.0f} "
                f"({1e9 * low:.0f} to {1e9 * high:.0f}), read alone {1e9 * found['measured_m']:.0f}"
            )
    return lines


def _sheet(glass: Glass, zones: Zones, seed: int) -> str:
    text = sheet_text(glass.readings(zones, 1e-4, seed))
    radii = ", ".join(f"{1e3 * one:.3f}" for one in zones.middle)
    return "\n".join(f"radius = [{radii}]" if line.startswith("windows") else line for line in text.splitlines()) + "\n"


def _record(place: Path, programme: Programme, sheet: str, number: int) -> None:
    done, after = place.parent / "done.toml", place.parent / "after.toml"
    done.write_text(dump_programme(programme))
    after.write_text(sheet)
    record(place, done, note=SessionNote(date=date(2026, 1, 1) + timedelta(number)), readings=after)


def main() -> None:
    """Print both tables as they come."""
    print("| the glass differs by | chi-square per session | wear (true 1.4) | stiffness (true 0.6) |")
    print("| --- | --- | --- | --- |", flush=True)
    for words, options, sigma in ROWS:
        chi, ends = one_row(options, sigma)
        intervals = " | ".join(f"{low:.2f}-{high:.2f}" for low, high in ends.values())
        print(f"| {words} | {', '.join(f'{one:.0f}' for one in chi)} of 19 | {intervals} |", flush=True)
    print("\n".join(["", *second_mirror()]))


if __name__ == "__main__":
    main()
