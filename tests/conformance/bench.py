"""A bench rig with ideal converters, built from its JSON alone: what a meter at each connector reads for a code.

Written from docs/rig.md, without a look at the program: converter, stage, attenuator, load; and, for a rig that is not
as described, the gain and offset that it really has.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

AHA = {"R": "RA", "L": "LA", "F": "LL", "N": "RL", **{f"C{i}": f"V{i}" for i in range(1, 7)}}


@dataclass(frozen=True)
class Output:
    """One output as it is built. `true_gain` and `true_offset` are the hardware's own errors, unknown to the JSON."""

    name: str
    text: dict
    converter: dict
    true_gain: float = 1.0
    true_offset: float = 0.0

    def at_connector(self, codes) -> np.ndarray:
        """mV (or ohm) that a meter reads for these codes."""
        bits = self.converter["bits"]
        low = self.text.get("low_v", self.converter["low_v"])
        high = self.text.get("high_v", self.converter["high_v"])
        register = np.asarray(codes, dtype=np.float64)
        if self.converter["coding"] == "twos-complement":
            register = register + 2 ** (bits - 1)
        assert register.min() >= 0 and register.max() < 2**bits, "no such code"
        volts = low + register * (high - low) / 2**bits
        if self.text.get("polarity") == "inverted":
            volts = -volts
        if "respiration" in self.text:
            nominal = self.text["base_ohm"] + self.text["ohm_per_v"] * volts
        else:
            load = self.text.get("load_ohm", np.inf)
            share = 1.0 if np.isinf(load) else load / (load + self.text.get("source_ohm", 0.0))
            nominal = 1000.0 * volts / self.text["attenuation"] * share
        return self.true_gain * nominal + self.true_offset

    def as_signal(self, connector) -> np.ndarray:
        """mV, mmHg or ohm that a monitor reads from the connector."""
        if "pressure" not in self.text:
            return connector
        per_mmhg = self.text["sensitivity_uv_per_v_per_mmhg"] * self.text["excitation_v"] / 1000.0
        return (connector - self.text.get("offset_mv", 0.0)) / per_mmhg

    def half_step(self) -> float:
        """Half of the step of one code, in the signal's unit."""
        return 0.5 * abs(float(np.diff(self.as_signal(self.at_connector([0, 1])))[0]))


def outputs(rig: Path, errors: dict[str, tuple[float, float]] | None = None) -> list[Output]:
    """The outputs of a rig in the order of the codes, with the errors that its hardware has."""
    document = json.loads(rig.read_text(encoding="utf-8"))
    built = []
    for text in document["outputs"]:
        name = text.get("electrode") or text.get("pressure") or "respiration"
        name = AHA.get(name, name)
        built.append(Output(name, text, document["converter"], *(errors or {}).get(name, (1.0, 0.0))))
    return built


def raw_codes(target: Path, rig: Path) -> np.ndarray:
    """Codes of a raw file, a row a frame."""
    document = json.loads(rig.read_text(encoding="utf-8"))
    bits, unsigned = document["converter"]["bits"], document["converter"]["coding"] == "offset-binary"
    word = np.dtype(f"<{'u' if unsigned else 'i'}{2 if bits <= 16 else 4}")
    return np.fromfile(target, dtype=word).reshape(-1, len(document["outputs"])).astype(np.int64)


def electrode_mv(leads: dict[str, np.ndarray], name: str) -> np.ndarray:
    """An electrode's potential against RL from leads I, II, V1 to V6, with RA + LA + LL = 0 (Einthoven, Wilson)."""
    i, ii = (np.asarray(leads[lead], dtype=np.float64) for lead in ("I", "II"))
    limbs = {"RA": -(i + ii) / 3, "LA": (2 * i - ii) / 3, "LL": (2 * ii - i) / 3, "RL": 0 * i}
    return limbs[name] if name in limbs else np.asarray(leads[name], dtype=np.float64)


def leads_of(electrode: dict[str, Fraction]) -> dict[str, Fraction]:
    """All twelve leads of one instant from nine electrodes, in exact fractions."""
    ra, la, ll = (electrode[name] for name in ("RA", "LA", "LL"))
    centre = (ra + la + ll) / 3
    return {
        "I": la - ra,
        "II": ll - ra,
        "III": ll - la,
        "aVR": ra - (la + ll) / 2,
        "aVL": la - (ra + ll) / 2,
        "aVF": ll - (ra + la) / 2,
        **{f"V{k}": electrode[f"V{k}"] - centre for k in range(1, 7)},
    }
