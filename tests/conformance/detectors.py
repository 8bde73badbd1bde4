"""Beat detectors of general analysis libraries, behind one thin shape.

Each takes one lead in millivolts and its frame rate and answers the frame numbers of the beats it heard.
None of them knows anything about Pulsewright. Where a detector has a limit of its own, it is written here
with its measurement, so that a test can separate a detector's weakness from a fault in our signal.

All limits were measured on a sum of Gaussian bumps (R 1.2 mV, T 0.3 mV, QRS 90 ms) of 60 s, and on the real
record 100 of the MIT-BIH Arrhythmia Database (see test_detectors.py).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from math import gcd

import numpy as np
import sleepecg
from scipy.signal import resample_poly
from wfdb import processing

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import neurokit2

RESAMPLED_HZ = 500
"""Frame rate to which a lead is reduced when it is above the detector's own limit."""


@dataclass(frozen=True)
class Detector:
    """One detector and the limits within which it hears every beat of a clean signal."""

    name: str
    find: Callable[[np.ndarray, int], np.ndarray]
    highest_frame_rate_hz: int
    slowest_bpm: float
    fastest_bpm: float

    def beats_s(self, lead_mv: np.ndarray, frame_rate_hz: int) -> np.ndarray:
        """Times in seconds of the beats heard in a lead in millivolts."""
        signal = np.asarray(lead_mv, dtype=np.float64)
        rate = int(frame_rate_hz)
        if rate > self.highest_frame_rate_hz:
            shared = gcd(rate, RESAMPLED_HZ)
            signal = resample_poly(signal, RESAMPLED_HZ // shared, rate // shared)
            rate = RESAMPLED_HZ
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            frames = self.find(signal, rate)
        return np.sort(np.asarray(frames, dtype=np.float64)) / rate

    def hears(self, bpm: float) -> bool:
        """Whether the rate lies where this detector is dependable."""
        return self.slowest_bpm <= bpm <= self.fastest_bpm


def _xqrs(lead: np.ndarray, rate: int) -> np.ndarray:
    return processing.xqrs_detect(lead, fs=rate, verbose=False)


def _gqrs(lead: np.ndarray, rate: int) -> np.ndarray:
    return processing.gqrs_detect(sig=lead, fs=rate)


def _sleepecg(lead: np.ndarray, rate: int) -> np.ndarray:
    return sleepecg.detect_heartbeats(lead, rate)


def _neurokit(method: str) -> Callable[[np.ndarray, int], np.ndarray]:
    def find(lead: np.ndarray, rate: int) -> np.ndarray:
        cleaned = neurokit2.ecg_clean(lead, sampling_rate=rate, method="neurokit")
        _, peaks = neurokit2.ecg_peaks(cleaned, sampling_rate=rate, method=method)
        return peaks["ECG_R_Peaks"]

    return find


DETECTORS = (
    # Learns its threshold from the first beats; a QRS under about 0.3 mV is not learnt at all.
    # At 1000 Hz it learns nothing from some clean records that it hears whole at 500 Hz; at 2000 Hz it finds nothing at all.
    Detector("wfdb xqrs", _xqrs, highest_frame_rate_hz=500, slowest_bpm=20, fastest_bpm=250),
    # Its refractory time makes it hear every second beat from about 200 bpm on.
    # At 1000 Hz it hears a beat that is not there in the last 30 ms of a record.
    Detector("wfdb gqrs", _gqrs, highest_frame_rate_hz=500, slowest_bpm=20, fastest_bpm=185),
    # Searches back for a missed beat and takes a T wave for it when pauses pass about 2 s.
    Detector("sleepecg", _sleepecg, highest_frame_rate_hz=1000, slowest_bpm=38, fastest_bpm=250),
    # Shortest distance between peaks is 0.3 s.
    Detector("neurokit2 default", _neurokit("neurokit"), highest_frame_rate_hz=1000, slowest_bpm=20, fastest_bpm=190),
    # Loses beats from about 210 bpm on.
    Detector("neurokit2 pantompkins1985", _neurokit("pantompkins1985"), highest_frame_rate_hz=1000, slowest_bpm=20, fastest_bpm=200),
    # Doubles on T waves under about 38 bpm and on T waves as tall as the QRS; hears 300 bpm, as no other does.
    # At 1000 Hz it loses wide beats that it hears at 500 Hz.
    Detector("neurokit2 khamis2016", _neurokit("khamis2016"), highest_frame_rate_hz=500, slowest_bpm=38, fastest_bpm=300),
)
