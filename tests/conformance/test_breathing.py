"""Pressures and breathing measured from the samples are the script's."""

from __future__ import annotations

import numpy as np
import pytest
import scripts
from measuring import breath_rate_by_peaks, breath_rate_by_spectrum, pressure_pulses
from program import rendered
from reading import read_csv, read_steps, read_wav

SETTLING_S = 5.0
"""After a change of step the runoff of the old pressure must be gone before it is measured."""

PRESSURES = [
    # rate bpm, systolic, diastolic mmHg, body
    (40, 118, 62, "adult"),
    (80, 120, 80, "adult"),
    (150, 92, 55, "adult"),
    (80, 200, 130, "adult"),
    (150, 75, 45, "neonate"),
]


@pytest.mark.parametrize("extension", ["wav", "csv"])
@pytest.mark.parametrize("frame_rate_hz", [250, 1000])
def test_pressures(tmp_path, frame_rate_hz, extension):
    steps = [
        scripts.step(30, body=body, rate_bpm=rate, arterial={"systolic_mmhg": high, "diastolic_mmhg": low})
        for rate, high, low, body in PRESSURES
    ]
    target = rendered(
        scripts.write(tmp_path / "pressures.json", *steps),
        tmp_path / f"out.{extension}",
        frame_rate_hz=frame_rate_hz,
        channels="arterial",
    )
    pressure = read_wav(target).values("arterial") if extension == "wav" else read_csv(target)[1]["arterial"]
    truth = read_steps(target)
    for i, (rate, high, low, body) in enumerate(PRESSURES):
        begin, end = (round(s * frame_rate_hz) for s in (30 * i + SETTLING_S, 30 * (i + 1)))
        pulses = pressure_pulses(pressure[begin:end], frame_rate_hz, rate)
        assert len(pulses.peak_s) == pytest.approx((30 - SETTLING_S) * rate / 60, abs=1.5), (rate, body)
        # Every pulse, not the mean alone: within 1 mmHg of the script.
        assert np.max(np.abs(pulses.systolic_mmhg - high)) <= 1.0, (rate, body, pulses)
        assert np.max(np.abs(pulses.diastolic_mmhg - low)) <= 1.0, (rate, body, pulses)
        assert float(truth[i]["systolic_mmhg"]) == high
        assert float(truth[i]["diastolic_mmhg"]) == low


BREATHS = [(6, 1.5), (12, 1.0), (20, 0.5), (45, 1.0), (90, 0.5)]
"""Breaths a minute and depth in ohm."""


@pytest.mark.parametrize("frame_rate_hz", [100, 500])
def test_breathing_rate(tmp_path, frame_rate_hz):
    steps = [
        scripts.step(90, rate_bpm=72, breathing={"rate_per_min": rate, "depth_ohm": depth, "cardiac_ohm": 0.05})
        for rate, depth in BREATHS
    ]
    target = rendered(
        scripts.write(tmp_path / "breaths.json", *steps),
        tmp_path / "out.wav",
        frame_rate_hz=frame_rate_hz,
        channels="respiration",
    )
    impedance = read_wav(target).values("respiration")
    truth = read_steps(target)
    for i, (rate, depth) in enumerate(BREATHS):
        # The first breath of a step may have begun in the step before.
        begin, end = (round(s * frame_rate_hz) for s in (90 * i + 60 / rate, 90 * (i + 1)))
        piece = impedance[begin:end]
        assert breath_rate_by_peaks(piece, frame_rate_hz) == pytest.approx(rate, abs=0.2)
        assert breath_rate_by_spectrum(piece, frame_rate_hz) == pytest.approx(rate, abs=0.2)
        assert np.ptp(piece) == pytest.approx(depth, abs=0.05 + 0.01), (rate, depth)
        assert float(truth[i]["breaths_per_min"]) == rate
