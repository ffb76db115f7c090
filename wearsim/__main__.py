"""``python -m wearsim``."""

from __future__ import annotations

import sys

from wearsim.cli.main import run

if __name__ == "__main__":
    sys.exit(run())
