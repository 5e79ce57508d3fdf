"""Puts this folder on the import path, so that its tests share the makers of series, states and healthy seasons."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parent))
