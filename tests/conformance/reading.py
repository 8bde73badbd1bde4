"""Reads what `render` writes, with general readers and from the documentation alone."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas
import soundfile
from scipy.io import wavfile


@dataclass(frozen=True)
class Channel:
    """How a stored number becomes a value: stored * scale + offset, in `unit`."""

    name: str
    unit: str
    scale: float
    offset: float


@dataclass(frozen=True)
class Recording:
    """A rendered signal: stored numbers by channel name, and what they mean."""

    frame_rate_hz: int
    channels: dict[str, Channel]
    stored: dict[str, np.ndarray]

    @property
    def n_frames(self) -> int:
        """Frames in the recording."""
        return len(next(iter(self.stored.values())))

    def values(self, name: str) -> np.ndarray:
        """A channel in its unit."""
        channel = self.channels[name]
        return np.asarray(self.stored[name], dtype=np.float64) * channel.scale + channel.offset


@dataclass(frozen=True)
class Beat:
    """A line of the truth of beats."""

    time_s: float
    frame: int
    code: str
    rr_s: float | None
    qrs_onset_s: float


def beside(target: Path, what: str) -> Path:
    """The sidecar of a target: `OUT.wav` has `OUT.beats.csv` beside it."""
    return target.with_name(f"{target.stem}.{what}")


def read_channels(target: Path) -> tuple[int, list[Channel]]:
    """Frame rate and channels from the sidecar of a target."""
    document = json.loads(beside(target, "channels.json").read_text(encoding="utf-8"))
    channels = [Channel(c["name"], c["unit"], float(c["scale"]), float(c["offset"])) for c in document["channels"]]
    return document["frame_rate_hz"], channels


def read_wav(target: Path) -> Recording:
    """A WAV file by scipy, checked sample by sample against soundfile (which reads through another library)."""
    rate, data = wavfile.read(target)
    data = data.reshape(len(data), -1)
    info = soundfile.info(str(target))
    bits = {"PCM_16": 16, "PCM_24": 24, "PCM_32": 32, "FLOAT": 0}[info.subtype]
    if bits:
        other, other_rate = soundfile.read(str(target), dtype="int32", always_2d=True)
        # soundfile puts every width at the top of 32 bits; scipy does so with 24 bits.
        other = other >> (32 - bits)
        data = data.astype(np.int32) >> (8 if bits == 24 else 0)
    else:
        other, other_rate = soundfile.read(str(target), dtype="float32", always_2d=True)
    assert rate == other_rate
    assert np.array_equal(data, other), "two readers of one WAV file disagree"
    frame_rate_hz, channels = read_channels(target)
    assert frame_rate_hz == rate
    assert len(channels) == data.shape[1]
    return Recording(rate, {c.name: c for c in channels}, {c.name: data[:, i] for i, c in enumerate(channels)})


def read_csv(target: Path) -> tuple[np.ndarray, dict[str, np.ndarray], dict[str, str]]:
    """A CSV file: times in seconds, values by channel name, and the unit of each from its column's title."""
    table = pandas.read_csv(target, comment="#", float_precision="round_trip")
    times = table.columns[0]
    assert times == "time_s"
    named = [column.rsplit("_", 1) for column in table.columns[1:]]
    values = {name: table[f"{name}_{unit}"].to_numpy() for name, unit in named}
    return table[times].to_numpy(), values, dict(named)


def read_beats(target: Path) -> list[Beat]:
    """The truth of beats beside a target."""
    with beside(target, "beats.csv").open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return [
            Beat(
                float(r["time_s"]),
                int(r["frame"]),
                r["code"],
                float(r["rr_s"]) if r["rr_s"] else None,
                float(r["qrs_onset_s"]),
            )
            for r in rows
        ]


def read_truth(target: Path, what: str) -> list[dict[str, str]]:
    """A table of the truth beside a target, one dictionary a row, as written."""
    with beside(target, f"{what}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def read_steps(target: Path) -> list[dict[str, str]]:
    """The truth of steps beside a target, one dictionary a step, as written."""
    return read_truth(target, "steps")
