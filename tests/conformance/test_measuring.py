"""The measuring code, on signals whose values are known by construction, and on wrong ones."""

from __future__ import annotations

import numpy as np
import pytest
from measuring import breath_rate_by_peaks, breath_rate_by_spectrum, limb_lead_errors, pressure_pulses


def pulse_train(rate_bpm: float, systolic: float, diastolic: float, frame_rate_hz: float, seconds: float) -> np.ndarray:
    """A quick rise, a slow fall, and a second bump of a fifth of the height."""
    phase = (np.arange(int(seconds * frame_rate_hz)) / frame_rate_hz * rate_bpm / 60.0) % 1.0
    main = np.where(phase < 0.15, np.sin(np.pi / 2 * phase / 0.15) ** 2, np.cos(np.pi / 2 * (phase - 0.15) / 0.85) ** 2)
    bump = 0.2 * np.exp(-(((phase - 0.5) / 0.05) ** 2))
    return diastolic + (systolic - diastolic) * (main + bump)


@pytest.mark.parametrize("rate_bpm", [40, 80, 150])
def test_pressure_peaks_skip_the_second_bump(rate_bpm):
    pressure = pulse_train(rate_bpm, 120.0, 80.0, 500.0, 60.0)
    pulses = pressure_pulses(pressure, 500.0, rate_bpm)
    assert pulses.systolic_mmhg == pytest.approx(120.0, abs=0.1)
    assert pulses.diastolic_mmhg == pytest.approx(80.0, abs=0.1)
    assert 60.0 * (len(pulses.peak_s) - 1) / np.ptp(pulses.peak_s) == pytest.approx(rate_bpm, abs=0.1)


def test_a_pressure_two_mmhg_off_is_seen():
    pulses = pressure_pulses(pulse_train(80, 122.0, 80.0, 500.0, 60.0), 500.0, 80)
    assert not np.all(np.abs(pulses.systolic_mmhg - 120.0) <= 1.0)


def test_a_flat_pressure_has_no_pulse():
    assert len(pressure_pulses(np.full(5000, 80.0), 500.0, 80).peak_s) == 0


@pytest.mark.parametrize("rate", [6.0, 15.0, 40.0, 120.0])
@pytest.mark.parametrize("measure", [breath_rate_by_peaks, breath_rate_by_spectrum])
def test_breath_rate(measure, rate):
    t = np.arange(0, 120.0, 1 / 250)
    breaths = 500.0 + np.maximum(np.sin(2 * np.pi * rate / 60.0 * t), -0.4)
    ripple = 0.05 * np.sin(2 * np.pi * 70.0 / 60.0 * t)
    assert measure(breaths + ripple, 250) == pytest.approx(rate, abs=0.15)
    assert measure(breaths + ripple, 250) != pytest.approx(rate + 0.4, abs=0.2)


def rounded_limb_leads(seed: int) -> dict[str, np.ndarray]:
    one, two = np.random.default_rng(seed).normal(0.0, 200.0, (2, 10_000))
    exact = {"I": one, "II": two, "III": two - one, "aVR": -(one + two) / 2, "aVL": one - two / 2, "aVF": two - one / 2}
    return {name: np.round(lead) for name, lead in exact.items()}


def test_rounded_leads_stay_within_a_step_and_a_wrong_lead_does_not():
    leads = rounded_limb_leads(5)
    assert max(limb_lead_errors(leads).values()) <= 1.0
    for name in leads:
        wrong = dict(leads)
        wrong[name] = leads[name].copy()
        wrong[name][4321] += 3
        assert max(limb_lead_errors(wrong).values()) > 1.0, name
