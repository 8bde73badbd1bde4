"""Small scripts that the checks render."""

from __future__ import annotations

import json
from pathlib import Path


def step(duration_s: float, rhythm: str = "sinus", **settings) -> dict:
    """One step; groups of settings are dictionaries."""
    return {"duration_s": duration_s, "rhythm": rhythm, **settings}


def document(*steps: dict, seed: int = 1, **more) -> dict:
    """A script document."""
    return {"version": 1, "seed": seed, "steps": list(steps), **more}


def write(path: Path, *steps: dict, seed: int = 1) -> Path:
    """Writes a script document and returns its path."""
    path.write_text(json.dumps(document(*steps, seed=seed)), encoding="utf-8")
    return path
