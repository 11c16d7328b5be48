"""Let the tests of the replay find the helper beside this file; these folders are no packages."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
