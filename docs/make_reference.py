"""The Python reference: what to document, read off the package."""

from __future__ import annotations

import importlib
import inspect

import wearsim


def public_names() -> str:
    """Autodoc of everything that ``import wearsim`` offers."""
    parts = []
    for name in wearsim.__all__:
        thing = getattr(wearsim, name)
        if name == "__version__":
            continue
        where = f"{thing.__module__}.{thing.__qualname__}"
        kind = "autoclass" if inspect.isclass(thing) else "autofunction"
        parts += [f"### wearsim.{name}", "", f"```{{eval-rst}}\n.. {kind}:: {where}\n```", ""]
    return "\n".join(parts)


# What the rooms offer besides the public names: heading -> module -> names.
ROOMS: dict[str, dict[str, tuple[str, ...]]] = {
    "wearsim.figure: conics, figure error, numbers": {
        "figure.conic": ("MirrorGeometry",),
        "figure.metrics": ("FigureNumbers", "figure_numbers"),
        "figure.masking": ("Masking", "MaskSeries"),
    },
    "wearsim.bench: what people write": {
        "bench.profile": ("Profile", "read_profile", "write_profile"),
    },
    "wearsim.knifeedge: readings and surface": {
        "knifeedge.readings": ("Readings", "load_readings"),
        "knifeedge.cooling": ("cooling",),
        "knifeedge.longitudinal": (
            "Zones", "zone_readings", "target_aberration", "knife_aberration", "tolerable_aberration",
        ),
    },
    "wearsim.wear: contact, wear and flow": {
        "wear.basis": ("OffsetBasis", "offset_basis", "path_matrix"),
        "wear.constants": ("Constants", "Belief", "prior"),
        "wear.flat": ("FlatContact", "flat_contact", "lift_off_offset"),
    },
    "wearsim.decide: what to do": {
        "decide.compare": ("Comparison", "Side", "compare"),
        "decide.floor": ("Floor", "linear_floor"),
        "decide.limits": ("Limits",),
        "decide.proposal": ("Proposal",),
    },
    "wearsim.learn: the mirror's folder": {
        "learn.folder": ("MirrorFolder", "open_folder"),
        "learn.record": ("record",),
        "learn.calibrate": ("Calibration",),
        "learn.misfit": ("SessionFit",),
    },
    "wearsim.study: many predictions": {"study.plan": ("Study", "load_study"), "study.run": ("run_study",)},
    "Errors": {
        "errors": ("WearsimError", "InputError", "TipsOffError", "StoreError", "CouldNotError", "ContactError"),
    },
}  # fmt: skip


def rooms() -> str:
    """Autodoc of what the rooms offer besides the public names."""
    public = {id(getattr(wearsim, name)) for name in wearsim.__all__}
    parts = []
    for heading, modules in ROOMS.items():
        lines = []
        for module, names in modules.items():
            there = importlib.import_module(f"wearsim.{module}")
            lines += [f".. automodule:: wearsim.{module}"]
            for name in names:
                if id(getattr(there, name)) not in public:
                    kind = "autoclass" if inspect.isclass(getattr(there, name)) else "autofunction"
                    lines.append(f".. {kind}:: wearsim.{module}.{name}")
        parts += [f"### {heading}", "", "```{eval-rst}", *lines, "```", ""]
    return "\n".join(parts)
