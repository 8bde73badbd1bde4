"""The compiled part of the package; `pulsewright` wraps all of it."""

from typing import Any

import numpy as np
import numpy.typing as npt

__version__: str

class ScriptError(ValueError): ...

class Signals:
    samples: npt.NDArray[np.float32]
    channels: list[str]
    units: list[str]
    frame_rate_hz: int
    seed: int
    def table(self, name: str) -> dict[str, Any]: ...
    def __len__(self) -> int: ...

class Player:
    position: int
    def __init__(self, text: bytes, name: str, frame_rate_hz: int, words: list[str], seed: int | None = None) -> None: ...
    def fill(self, count: int) -> npt.NDArray[np.float32]: ...
    def skip(self, count: int) -> int: ...
    def next_step(self) -> None: ...

class Plan:
    left_out: list[str]
    def __init__(self, text: str, name: str) -> None: ...
    def __len__(self) -> int: ...
    def name(self, index: int) -> str: ...
    def dimensions(self, index: int) -> dict[str, str]: ...
    def render(self, index: int) -> Signals: ...
    def score(self, index: int, times_s: npt.NDArray[np.float64], codes: str | None = None) -> None: ...
    def report(self, limits_json: str | None = None, indices: list[int] | None = None) -> str: ...

def render(
    text: bytes,
    name: str,
    frame_rate_hz: int,
    words: list[str],
    duration_s: float | None = None,
    seed: int | None = None,
) -> Signals: ...
def score(
    reference_s: npt.NDArray[np.float64],
    reference_codes: str | None,
    test_s: npt.NDArray[np.float64],
    test_codes: str | None,
    window_s: float,
    learning_s: float,
    end_s: float | None,
    limits: str | None,
) -> str: ...
