"""How long the glass must stand before a reading, in words."""

from __future__ import annotations

import numpy as np

from wearsim.bench.mirror import Mirror
from wearsim.errors import InputError
from wearsim.knifeedge.on_bench import waiting_for


def waiting_text(mirror: Mirror) -> str:
    """One sentence, the time rounded up to five minutes; empty where the glass's heat properties are not known."""
    try:
        waiting = waiting_for(mirror)
    except InputError:
        return ""
    minutes = 5.0 * np.ceil(waiting.time / 300.0)
    stood = f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60.0:.1f} h"
    return f"Before a reading let the glass stand {stood}: warm, it misleads."
