"""A sound card that is no hardware: a plugin of ALSA's library, in front of which the program can't tell the difference."""

from __future__ import annotations

import os
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from program import PROGRAM, ROOT

SOURCE = Path(__file__).parent / "sound_card" / "paced.c"
UNPACKED = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "debian" / "libasound2-dev" / "root"
TYPES = {"S16_LE": "<i2", "S32_LE": "<i4", "S24_LE": "<i4", "FLOAT_LE": "<f4"}
RAMP_S = 0.05


def built(folder: Path) -> Path:
    """The plugin, built with ALSA's headers."""
    library = folder / "libasound_module_pcm_paced.so"
    if not library.exists():
        headers = [] if Path("/usr/include/alsa/pcm_external.h").exists() else ["-I", UNPACKED / "usr/include", "-L", UNPACKED / "usr/lib/x86_64-linux-gnu"]
        # PIC is what ALSA's headers ask for.
        subprocess.run(["cc", "-shared", "-fPIC", "-DPIC", "-Wall", "-Wextra", "-Werror", "-O2", *headers, "-o", library, SOURCE, "-lasound"], check=True)
    return library


@dataclass
class Card:
    """The card, and the samples that it took."""

    folder: Path
    plugin: Path
    channels: int = 2
    rates: tuple[int, ...] = (48000,)
    form: str = "S16_LE"
    more: str = ""

    @property
    def name(self) -> str:
        return "audio:bench"

    @property
    def environment(self) -> dict[str, str]:
        """For the program: this card and a null device are all the sound that there is."""
        settings = self.folder / "asound.conf"
        rates, taken = " ".join(map(str, self.rates)), self.folder / "taken.raw"
        settings.write_text(
            f'pcm_type.paced {{ lib "{self.plugin}" }}\n'
            "defaults.namehint.showall off\ndefaults.namehint.basic on\ndefaults.namehint.extended off\n"
            f'pcm.bench {{ type paced file "{taken}" rates [ {rates} ] channels [ {self.channels} ] formats [ {self.form} ] {self.more}\n'
            ' hint { show on description "A card that is no hardware" } }\n'
            'pcm.sink { type null hint { show on description "No card at all" } }\n'
        )
        return os.environ | {"ALSA_CONFIG_PATH": str(settings)}

    def taken(self) -> np.ndarray:
        """Frames that the card took, a row each, in steps of its samples."""
        path = self.folder / "taken.raw"
        if not path.exists():
            return np.empty((0, self.channels), TYPES[self.form])
        samples = np.fromfile(path, TYPES[self.form])
        return samples[: len(samples) // self.channels * self.channels].reshape(-1, self.channels)

    def start(self, *arguments: object, **options) -> subprocess.Popen:
        command = [str(PROGRAM), *map(str, arguments)]
        pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | options
        return subprocess.Popen(command, env=self.environment, text=True, **pipes)

    def run(self, *arguments: object, within_s: float = 120, **options) -> tuple[int, str, str]:
        process = self.start(*arguments, **options)
        out, err = process.communicate(timeout=within_s)
        return process.returncode, out, err


def interruptions(taken: np.ndarray, frames: np.ndarray, hold: int, ramp: int) -> int:
    """How often a card's samples leave the frames for a rest; every frame must be there, unchanged and in order, and all else be 0 or a
    ramp."""
    expected = np.repeat(frames, hold, axis=0)
    wide = taken.astype(np.float64)
    # A ramp's samples are rounded to a step of the card's.
    most = np.abs(expected).max() / ramp + (1e-6 if taken.dtype.kind == "f" else 1.001)
    at, done, rests = 0, 0, -1
    while done < len(expected):
        # Frames of 0 can't be told from rest, so the next others are looked for.
        signal = np.flatnonzero(expected[done:].any(axis=1))
        quiet = int(signal[0]) if len(signal) else 0
        ahead = expected[done + quiet :][: 20 * hold]
        starts = np.flatnonzero((taken[at + quiet :] == ahead[0]).all(axis=1)) + at + quiet
        begins = [start for start in starts if np.array_equal(taken[start : start + len(ahead)], ahead)]
        assert begins, f"after {done} samples the card got other frames"
        begin = int(begins[0]) - quiet
        between(wide[max(at - 1, 0) : begin + 1], most)
        same = (taken[begin:][: len(expected) - done] == expected[done:][: len(taken) - begin]).all(axis=1)
        count = len(same) if same.all() else int(np.argmin(same))
        # A frame is held for its whole time before a rest.
        at, done, rests = begin + count, done + count, rests + 1
        assert done % hold == 0 or done == len(expected)
    between(wide[at - 1 :], most)
    assert not wide[-1].any(), "the card is at rest at the end"
    return rests


def between(samples: np.ndarray, most: float) -> None:
    """No click: no two samples are further apart than a step of the ramp to the highest level."""
    if len(samples) > 1:
        assert np.abs(np.diff(samples, axis=0)).max() <= most
