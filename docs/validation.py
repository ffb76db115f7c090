"""What books and the trade say of strokes, and what the model gives: rewrites the figures of validation.md.

Run ``python docs/validation.py`` to print the page, ``python docs/validation.py --write`` to rewrite it.
Each observation names a function of validation_figures.py that returns its figures in words; ``page()`` puts them
between the text.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from validation_figures import (
    central_and_overhanging,
    cold_pressing,
    draper_back,
    draper_strokes,
    end_of_stroke,
    fifth_of_a_turn,
    full_diameter,
    lower_an_edge,
    oblate_half_metre,
    parabolize,
    polish_out,
    turned_edge_width,
    winter,
)

PAGE = Path(__file__).with_name("validation.md")


@dataclass(frozen=True)
class Observation:
    """One observation: what is said and by whom, the figures, the verdict, and what may be missing."""

    said: str
    source: str
    figures: Callable[[], str]
    verdict: str
    remark: str


OBSERVATIONS: tuple[Observation, ...] = (
    Observation(
        "The upper piece turns concave, the lower convex",
        "A handbook of 1947 [read]: at the end of a stroke the pressure rises at the edge of the lower and at the "
        "centre of the upper piece.",
        end_of_stroke,
        "Agree",
        "With the tool on top the glass is the lower piece and loses its rim, with the mirror on top its centre.",
    ),
    Observation(
        "Central strokes for the centre, overhanging ones for the edge (tool on top)",
        'R. Threlfall, "On Laboratory Arts" (1898) [read].',
        central_and_overhanging,
        "Agree for the edge, in part for the centre",
        "Wider overhang moves the wear to the rim throughout. Central strokes wear the centre far more than "
        "overhanging ones do, but with a full-size tool never more than the rim: that takes a smaller tool.",
    ),
    Observation(
        "Mirror on top: 0.26 D leaves almost a sphere, 0.52 D makes a paraboloid in hours",
        "H. Draper, Smithsonian Contributions to Knowledge XIV (1864) [read]: 15.5 in mirror of 150 in focus, full "
        "polisher, machine cross strokes, 20 a minute, polisher turning once in 3 strokes, spells of 15 minutes.",
        draper_strokes,
        "Agree for the short stroke; differ in sign for the long straight one",
        "Half a unit of K is about 50 nm of surface, peak to valley, on this mirror: almost a sphere. At 0.52 D the "
        "straight stroke stays on the oblate side; the sign turns between 0.13 and 0.2 D of side motion, and with a "
        "quarter of D the paraboloid comes in the two hours. What may be missing: how far the machine's cross "
        "strokes went to the side is not in the source that was read; his "
        "polisher turned about as fast at its rim as the stroke moved, and the radial engine leaves turning out; "
        "and the pitch may have been much stiffer or slower than the default.",
    ),
    Observation(
        "Shorter strokes bring the paraboloid back and past the sphere",
        "H. Draper, as above [read].",
        draper_back,
        "Agree",
        "In direction and in passing the sphere; the time is not in the source.",
    ),
    Observation(
        "Strokes of the whole diameter, mirror on top, make a hyperboloid",
        "Handbook [read].",
        full_diameter,
        "Agree, but for the very length",
        "Long strokes pass the paraboloid within the hour. A stroke of the whole diameter itself tips the mirror "
        "off in a model whose load stands at the centre of the glass; hands that hold back at the ends, or the "
        "strokes being counted by eye, would explain it.",
    ),
    Observation(
        "A lap on top, used to lower an edge, turns it down",
        "Handbook [read].",
        lower_an_edge,
        "Agree",
        "The wear rises up to the very rim.",
    ),
    Observation(
        "W strokes parabolize an 8 in f/6 in tens of minutes, and can overshoot in minutes",
        "Strokes about 0.8 D long with 0.2-0.4 D to the side [memory]; the times [read]. The default modulus of the "
        "pitch was chosen so that these times come out: agreement in time is no independent support, that in kind is.",
        parabolize,
        "Agree",
        "The paraboloid (K = -1) is passed between 10 and 20 minutes; short strokes do not get there at all. "
        "0.8 D with 0.3 D to the side tips off at the default friction lead.",
    ),
    Observation(
        "About ten hours of long W strokes bring an oblate half-metre mirror nearly to a sphere",
        "Common practice, no source: mirror on top, fast compound, from about five times the paraboloid's "
        "correction; cold pressing about five minutes before each spell.",
        oblate_half_metre,
        "Agree in where it ends, differ in time",
        "The model comes to a near sphere and stays there, the lap holding it; it takes two hours or less instead of "
        "ten. The Preston coefficient is known within a factor of 2.5 only, and hours at the barrel include "
        "charging, cooling and testing.",
    ),
    Observation(
        "A turned edge is often about 6 mm wide",
        "Common practice, no source.",
        turned_edge_width,
        "Differ",
        "The glass-edge effect at its default (5 mm thick pitch, gain 0.3) turns a narrower edge. Missing may be "
        "pitch that bulges over the rim, the bending of the lap's back, and stroke ends outside the plan.",
    ),
    Observation(
        "A 6 in f/8 is polished out in 6 to 12 hours",
        "Handbook [read]: hand strokes of 30-60 a minute.",
        polish_out,
        "Cannot tell, plausible",
        "How deep the pits of the last grade go is not in the source; a few micrometres is what fine grinding is "
        "thought to leave (from memory).",
    ),
    Observation(
        "Cold-press about five minutes before a spell",
        "Common practice, no source.",
        cold_pressing,
        "Agree in kind",
        "At a relaxation time of 5 minutes and under the tool's weight alone five minutes do a part of it; on a "
        "figure this strong a quarter of an hour does more. Warmer pitch is quicker by ten times in 8 degrees.",
    ),
    Observation(
        "Turn the mirror about a fifth of a turn between spells",
        "Common practice, no source.",
        fifth_of_a_turn,
        "Agree",
        "Five turns of 72 degrees cancel what a steady bias of the hands or the barrel would leave; half turns never do.",
    ),
    Observation(
        "The basement is at 17-21 degC; pitch is stiffer in winter",
        "Common practice, no source.",
        winter,
        "Agree in kind",
        "The relaxation time goes by a factor of three over that range; the modulus itself is taken as constant.",
    ),
)


def page() -> str:
    """The whole page as text."""
    head = PAGE.read_text().split("<!-- figures -->")[0] if PAGE.exists() else ""
    parts = [head.rstrip() + "\n\n<!-- figures -->\n"]
    for o in OBSERVATIONS:
        parts.append(f"\n## {o.said}\n\n*{o.source}*\n\nModel: {o.figures()}.\n\n**{o.verdict}.** {o.remark}\n")
    return "".join(parts)


def main() -> None:
    """Print the page, or rewrite it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="rewrite validation.md")
    text = page()
    if parser.parse_args().write:
        PAGE.write_text(text)
    else:
        print(text)


if __name__ == "__main__":
    main()
