"""Let the laws find their helpers, and the house that the tests of the core build."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "core")]
