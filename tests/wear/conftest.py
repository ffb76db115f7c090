"""The slow twins of the kernels are used here too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "kernels"))
