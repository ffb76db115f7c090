"""Where this room's slow twins are found."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
