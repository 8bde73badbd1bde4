"""Intervals of a person's heart, measured in the samples by scipy: spectrum of RR, breathing, fibrillation, seeds.

Limits are those of the Task Force of the ESC and NASPE (Circulation 1996;93:1043): bands of 0.003 to 0.04 (VLF), 0.04 to
0.15 (LF) and 0.15 to 0.40 Hz (HF), LF/HF of 1.5 to 2.0 lying down (from memory). RR in fibrillation: coefficient of
variation of 0.2 to 0.3 (published series of untreated patients, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from program import succeed
from reading import read_wav
from scipy.interpolate import CubicSpline
from scipy.signal import find_peaks, welch

FRAME_RATE_HZ = 500
BANDS_HZ = {"vlf": (0.003, 0.04), "lf": (0.04, 0.15), "hf": (0.15, 0.40)}


def rendered(folder, *, minutes: float, seed: int, rhythm: str = "sinus", settings=()):
    target = folder / f"{rhythm}-{seed}.wav"
    flags = [flag for setting in settings for flag in ("--set", setting)]
    succeed(
        "render", "--rhythm", rhythm, "--seed", seed, "--duration", f"{round(60 * minutes)}s",
        "--frame-rate", FRAME_RATE_HZ, "--channels", "II,respiration", "-o", target, "--force", *flags,
    )
    return read_wav(target)


def r_peaks_s(recording) -> np.ndarray:
    """R peaks of lead II to a fraction of a frame, by a parabola through the highest three samples."""
    lead = np.asarray(recording.values("II"), dtype=float)
    slope = np.abs(np.gradient(lead))
    places, _ = find_peaks(slope, height=0.3 * np.quantile(slope, 0.999), distance=FRAME_RATE_HZ // 5)
    found = []
    for place in places:
        low = max(place - 25, 1)
        top = low + int(np.argmax(lead[low : place + 26]))
        if 1 <= top < len(lead) - 1:
            before, at, after = lead[top - 1 : top + 2]
            bend = before - 2 * at + after
            found.append((top + (0.5 * (before - after) / bend if bend < 0 else 0.0)) / FRAME_RATE_HZ)
    peaks = np.unique(np.round(found, 6))
    return peaks[np.concatenate(([True], np.diff(peaks) > 0.15))]


def powers_ms2(peaks_s: np.ndarray) -> dict[str, float]:
    rr_ms = 1000 * np.diff(peaks_s)
    even_s = np.arange(peaks_s[1], peaks_s[-1], 0.25)
    series = CubicSpline(peaks_s[1:], rr_ms)(even_s)
    series -= np.polyval(np.polyfit(even_s, series, 1), even_s)
    hz, density = welch(series, 4.0, nperseg=min(1024, len(series)))
    within = {name: (hz >= low) & (hz < high) for name, (low, high) in BANDS_HZ.items()}
    return {name: float(np.trapezoid(density[band], hz[band])) for name, band in within.items()}


def test_rr_at_resting_life_has_a_persons_spectrum(tmp_path):
    found = [
        powers_ms2(r_peaks_s(rendered(tmp_path, minutes=5, seed=seed, settings=["life=resting"]))) for seed in range(8)
    ]
    lf_hf = np.mean([each["lf"] for each in found]) / np.mean([each["hf"] for each in found])
    vlf = np.mean([each["vlf"] / sum(each.values()) for each in found])
    total = np.mean([sum(each.values()) for each in found])
    assert 1.3 <= lf_hf <= 2.2, f"LF/HF {lf_hf:.2f}"
    assert vlf > 0.1, f"VLF share {vlf:.2f}"
    assert 1500 < total < 5000, f"{total:.0f} ms2"


def test_random_rr_has_no_lines(tmp_path):
    """No bin of the spectrum over an hour holds more than a twentieth of the power of its band, as a tone would."""
    settings = ["variability.slow_ms=40", "variability.fast_ms=30", "variability.very_slow_ms=40"]
    peaks = r_peaks_s(rendered(tmp_path, minutes=60, seed=3, settings=settings))
    even_s = np.arange(peaks[1], peaks[-1], 0.25)
    series = CubicSpline(peaks[1:], 1000 * np.diff(peaks))(even_s)
    hz, density = welch(series, 4.0, nperseg=4096)
    for low, high in list(BANDS_HZ.values())[1:]:
        band = (hz >= low) & (hz < high)
        assert density[band].max() < 0.05 * density[band].sum()
    assert abs(60 / np.mean(np.diff(peaks)) - 70) < 1.5


@pytest.mark.parametrize("rate", [50, 60, 70, 75, 100])
def test_sinus_arrhythmia_has_its_size_and_follows_the_breath(tmp_path, rate):
    recording = rendered(tmp_path, minutes=5, seed=1, settings=["variability.breathing_ms=200", f"rate_bpm={rate}"])
    peaks = r_peaks_s(recording)
    rr, middle = np.diff(peaks), 0.5 * (peaks[1:] + peaks[:-1])
    assert abs(1000 * np.ptp(rr[2:]) - 200) < 6
    assert abs(60 / np.mean(rr) - rate) < 0.3
    # Lungs are fullest at the end of inspiration.
    impedance = np.asarray(recording.values("respiration"), dtype=float)
    full, _ = find_peaks(impedance, prominence=0.5 * np.ptp(impedance), distance=FRAME_RATE_HZ)
    full_s = full / FRAME_RATE_HZ
    inside = (middle > full_s[0]) & (middle < full_s[-1])
    index = np.searchsorted(full_s, middle[inside]) - 1
    phase = (middle[inside] - full_s[index]) / (full_s[index + 1] - full_s[index])
    fastest = np.angle(np.sum((np.mean(rr) - rr[inside]) * np.exp(2j * np.pi * phase))) / (2 * np.pi)
    assert abs(fastest) < 0.06, f"fastest {fastest:.2f} of a breath after the end of inspiration"


@pytest.mark.parametrize("seed", [1, 2])
def test_fibrillation_is_irregular_without_memory(tmp_path, seed):
    peaks = r_peaks_s(rendered(tmp_path, minutes=60, seed=seed, rhythm="atrial-fibrillation"))
    rr = np.diff(peaks)
    assert abs(60 / np.mean(rr) - 91) < 0.3
    assert 0.2 < np.std(rr) / np.mean(rr) < 0.3
    centred = rr - np.mean(rr)
    for lag in range(1, 20):
        assert abs(np.dot(centred[lag:], centred[:-lag]) / np.dot(centred, centred)) < 0.1, lag
    # More than 32: RR is drawn anew for each beat, not from a short list.
    assert len(np.unique(np.round(1000 * rr))) > 400


def test_two_seeds_differ_with_life_and_not_without(tmp_path):
    def lead(seed, settings):
        return np.asarray(rendered(tmp_path, minutes=0.5, seed=seed, settings=settings).values("II"))

    assert np.array_equal(lead(1, []), lead(2, []))
    assert not np.array_equal(lead(1, ["life=resting"]), lead(2, ["life=resting"]))
