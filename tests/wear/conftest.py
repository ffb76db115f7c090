"""Where this room's helpers are found, and the slow twins of the kernels, which are used here too."""

import sys
from pathlib import Path

for folder in ("benchmarks", "kernels", "wear"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))
