"""The sentences of a worksheet, read back from its page: each value, band and cause is what the samples show, by scipy alone."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass

import numpy as np
import pytest
from program import succeed
from reading import Recording, read_wav
from scipy.signal import butter, find_peaks, sosfiltfilt
from shown import LEADS, Band, beats_s, shown
from test_one_expectation import Page, stated

FRAME_RATE_HZ = 500
STEP_S, SETTLED_S = 60.0, 20.0
BREATHED_S = 40.0
"""The average of breaths holds none of the step before after this time."""
QUANTITIES = ["heart-rate", "respiration-rate", "arterial-systolic", "arterial-diastolic", "arterial-mean", "venous-mean"]
UNITS = {"heart-rate": "bpm", "respiration-rate": "breaths/min"}
TOLERANCE = 2.0
"""A band that is wider than this is stated with both ends."""

STEPS = {
    "steady": {},
    "ramp": {"rate_bpm": {"to": 110}},
    "blocked beats": {"rate_bpm": 70, "rhythm": "av-block-2-type-1"},
    "premature beats": {"rhythm": "ventricular-premature"},
    "slow line": {"rhythm": "sinus", "arterial": {"line_hz": 4, "line_damping": 1.2}},
    "ringing line": {"arterial": {"line_hz": 10, "line_damping": 0.12}},
    "swinging": {"arterial": {"line_hz": 0, "breathing_mmhg": 20}, "chest": {"breathing_mmhg": 8}},
    "alternating": {"arterial": {"breathing_mmhg": 0, "alternans_mmhg": 12}, "chest": {"breathing_mmhg": 0}},
    "varying": {"arterial": {"alternans_mmhg": 0, "variation_percent": 30}},
    "pauses": {"arterial": {"variation_percent": 0}, "breathing": {"rate_per_min": 18, "pause_s": 10, "pause_every_s": 25}},
    "offset": {"breathing": {"pause_s": 0, "rate_per_min": 15}, "arterial": {"level_mmhg": 12}},
    "closed": {"arterial": {"level_mmhg": 55, "closed": 1}},
    "no breaths": {"arterial": {"level_mmhg": 0, "closed": 0}, "breathing": {"rate_per_min": 0}},
    "shallow breaths": {"breathing": {"rate_per_min": 15, "depth_ohm": 0.05}},
    "arrest": {"breathing": {"depth_ohm": 1}, "rhythm": "asystole"},
}


def asked(name: str) -> list[str]:
    """Quantities that a step asks for; an artery without pulses has but a mean."""
    return [quantity for quantity in QUANTITIES if name != "arrest" or not quantity.endswith("tolic")]


@dataclass
class Watched:
    """What a step shows: its settled samples, and readings, beats and breaths measured from them."""

    recording: Recording
    start_s: float
    readings: dict[str, Band | None]
    beats: np.ndarray

    @property
    def moves(self) -> bool:
        """Whether the rate drifts."""
        return len(self.beats) > 10 and abs(self.intervals[-5:].mean() / self.intervals[:5].mean() - 1) > 0.1

    def samples(self, channel: str) -> np.ndarray:
        a, b = (round((self.start_s + at_s) * FRAME_RATE_HZ) for at_s in (SETTLED_S, STEP_S))
        return self.recording.values(channel)[a:b]

    @property
    def intervals(self) -> np.ndarray:
        return np.diff(self.beats)

    def by_beat(self, quantity: str) -> np.ndarray:
        """A pressure's reading from beat to beat."""
        site, _, part = quantity.partition("-")
        pressure, of = self.recording.values(site), {"systolic": np.max, "diastolic": np.min, "mean": np.mean}[part]
        at = np.round(self.beats * FRAME_RATE_HZ).astype(int)
        return np.array([of(pressure[a:b]) for a, b in zip(at[:-1], at[1:], strict=True)])

    def breathed(self) -> np.ndarray:
        """The impedance, in ohm, without the heart's share."""
        return sosfiltfilt(butter(3, 0.8, fs=FRAME_RATE_HZ, output="sos"), self.samples("respiration"))

    def breaths(self) -> np.ndarray:
        """Times of the tops of breaths, s, however shallow."""
        return find_peaks(self.breathed(), prominence=0.02)[0] / FRAME_RATE_HZ

    def swing_with_breath(self, quantity: str) -> float:
        """Correlation of a reading from beat to beat with the impedance then."""
        slow = sosfiltfilt(butter(3, 0.8, fs=FRAME_RATE_HZ, output="sos"), self.recording.values("respiration"))
        at = np.round(0.5 * (self.beats[:-1] + self.beats[1:]) * FRAME_RATE_HZ).astype(int)
        lags = np.arange(-2 * FRAME_RATE_HZ, 2 * FRAME_RATE_HZ, FRAME_RATE_HZ // 10)
        values = self.by_beat(quantity)
        found = [np.corrcoef(values, slow[np.clip(at + lag, 0, len(slow) - 1)])[0, 1] for lag in lags]
        return float(np.max(np.abs(found)))


def pulse_mmhg(step: Watched) -> float:
    return float(np.median(step.by_beat("arterial-systolic") - step.by_beat("arterial-diastolic")))


def alternates(values: np.ndarray) -> bool:
    change = np.diff(values)
    return bool(np.mean(change[1:] * change[:-1] < 0) > 0.9 and np.median(np.abs(change)) > 1)


def shows(cause: str, quantity: str, step: Watched, steady: Watched) -> bool:
    """Whether the samples of a step show a cause, beside a steady one's."""
    rr, site = step.intervals, quantity.partition("-")[0]
    match cause:
        case "the step moves it":
            return step.moves
        case "the beats come irregularly":
            return np.max(np.abs(np.diff(rr))) > 0.08 * rr.mean()
        case "premature beats come":
            return bool(np.any(rr < 0.85 * np.median(rr)))
        case "the beats differ in strength":
            return np.ptp(step.by_beat(quantity)) > 1
        case "the line damps the pulse":
            return pulse_mmhg(step) < pulse_mmhg(steady) - 2 and abs(step.samples(site).mean() - steady.samples(site).mean()) < 1
        case "the line rings":
            return pulse_mmhg(step) > pulse_mmhg(steady) + 2 and abs(step.samples(site).mean() - steady.samples(site).mean()) < 1
        case "it falls with each inspiration" | "it moves with breathing":
            return step.swing_with_breath(quantity) > 0.8 and np.ptp(step.by_beat(quantity)) > 2
        case "the pulse pressure varies with breathing":
            return step.swing_with_breath(quantity) > 0.8 and abs(pulse_mmhg(step) - pulse_mmhg(steady)) < 3
        case "every other pulse is lower":
            return alternates(step.by_beat(quantity))
        case "the transducer adds an offset":
            shift = [step.by_beat(f"{site}-{part}").mean() - steady.by_beat(f"{site}-{part}").mean() for part in ("systolic", "diastolic")]
            return min(shift) > 2 and abs(shift[0] - shift[1]) < 0.5
        case "the transducer is closed to the patient":
            return np.ptp(step.samples(site)) < 0.2
        case "the breathing pauses":
            gaps = np.diff(step.breaths())
            return gaps.max() > 1.8 * np.median(gaps)
        case "the breaths are too shallow to be seen":
            return len(step.breaths()) > 5 and np.ptp(step.breathed()) < 0.1
        case "no breath comes":
            return np.ptp(step.breathed()) < 0.02
        case "no beat comes":
            return len(step.beats) == 0
        case "no pulse comes":
            return np.ptp(step.samples(site)) < 2
    raise AssertionError(f"no means to see '{cause}'")


@pytest.fixture(scope="module")
def page_and_steps(tmp_path_factory) -> tuple[dict[str, str], dict[str, Watched]]:
    folder = tmp_path_factory.mktemp("sentences")
    limits = {quantity: {"tolerance": TOLERANCE, "source": "invented"} for quantity in QUANTITIES}
    steps = [{"name": name, "duration_s": STEP_S, **settings, "expect": {"readings": asked(name)}} for name, settings in STEPS.items()]
    steps[0]["rhythm"] = "sinus"
    plan = {"version": 1, "title": "Invented plan", "notes": "Invented data.", "seed": 3, "limits": limits, "steps": steps}
    (folder / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    succeed("worksheet", folder / "plan.json", "-o", folder / "sheet.html")
    channels = ",".join((*LEADS, "respiration", "arterial", "venous"))
    succeed("render", folder / "plan.json", "-o", folder / "out.wav", "--bits", "float", "--channels", channels, "--frame-rate", FRAME_RATE_HZ)
    recording = read_wav(folder / "out.wav")
    starts = STEP_S * np.arange(len(STEPS))
    spans = [(start, start + SETTLED_S, start + STEP_S) for start in starts]
    measured = shown(recording.values, ("arterial", "venous"), FRAME_RATE_HZ, spans)
    breathed = shown(recording.values, ("arterial", "venous"), FRAME_RATE_HZ, [(start, start + BREATHED_S, start + STEP_S) for start in starts])
    beats, _ = beats_s([recording.values(lead) for lead in LEADS], FRAME_RATE_HZ)
    watched = {}
    for name, start, readings, later in zip(STEPS, starts, measured, breathed, strict=True):
        own = beats[(beats >= start + SETTLED_S) & (beats < start + STEP_S)]
        watched[name] = Watched(recording, start, {**readings, "respiration-rate": later["respiration-rate"]}, own)
    return Page((folder / "sheet.html").read_text("utf-8")).items, watched


def causes_of(text: str) -> list[str]:
    """The causes that a sentence gives, between its tolerance and the source of that."""
    found = re.search(r"±2 (?:bpm|breaths/min|mmHg)(.*?)\.?invented", text)
    assert found, text
    return [cause[0].lower() + cause[1:] for cause in found[1].split("; ") if cause]


NO_VALUE = {("pauses", "respiration-rate")}
"""Which breaths are averaged about a pause is a rule of each maker."""


def ends_of(quantity: str, step: Watched) -> tuple[float, float, float, float]:
    """The lowest and the highest a mean may be, and the lowest and the highest value."""
    found = step.readings[quantity]
    if found is None:
        return 0.0, 0.0, 0.0, 0.0
    # A monitor that averages few beats shows more of a rate that is moved.
    edges = (found.edges[0][0], found.edges[1][1]) if step.moves and found.edges else (found.low[0], found.high[1])
    return *found.mean, min(found.low[0], edges[0]), max(found.high[1], edges[1])


def test_each_value_is_that_of_the_samples(page_and_steps):
    items, steps = page_and_steps
    for number, (name, step) in enumerate(steps.items(), 1):
        for quantity in asked(name):
            values = stated(items[f"{number}.{quantity}"], UNITS.get(quantity, "mmHg"))
            assert values, items[f"{number}.{quantity}"]
            if (name, quantity) in NO_VALUE:
                continue
            near = 0.35 if quantity == "respiration-rate" else 1.1
            least, most, low, high = ends_of(quantity, step)
            if len(values) == 2:
                # Both ends: of the venous pressure, whose waves have no foot, as far as beats cut it.
                near = 1.6 if quantity == "venous-mean" else near
                assert abs(values[0] - low) < near and abs(values[1] - high) < near, (name, quantity, values, step.readings[quantity])
            else:
                assert least - near < values[0] < most + near, (name, quantity, values, step.readings[quantity])


def test_each_cause_is_seen_in_the_samples(page_and_steps):
    items, steps = page_and_steps
    said = set()
    for number, (name, step) in enumerate(steps.items(), 1):
        for quantity in asked(name):
            text = items[f"{number}.{quantity}"]
            causes = causes_of(text)
            for cause in causes:
                assert shows(cause, quantity, step, steps["steady"]), (name, quantity, cause)
            assert causes or len(stated(text, UNITS.get(quantity, "mmHg"))) == 1, (name, quantity, "a band without a cause")
            said |= set(causes)
    assert len(said) >= 15, said
    assert not any(causes_of(items[f"1.{quantity}"]) for quantity in QUANTITIES), "the steady step has no cause"
