"""The project's version, which pyproject.toml alone states."""

from __future__ import annotations

import tomllib
from pathlib import Path

PYPROJECT = Path(__file__).parents[1] / "pyproject.toml"
VERSION: str = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]["version"]
