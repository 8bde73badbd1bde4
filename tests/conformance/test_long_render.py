"""A day of signal: the count of beats is exact and nothing drifts."""

from __future__ import annotations

import numpy as np
import pytest
import scripts
from program import rendered
from reading import read_beats, read_wav

DAY_S = 86_400
RATE_BPM = 70


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """24 h at 70 bpm, lead II, 200 Hz."""
    folder = tmp_path_factory.mktemp("day")
    source = scripts.write(folder / "day.json", scripts.step(DAY_S, rate_bpm=RATE_BPM))
    return rendered(source, folder / "day.wav", frame_rate_hz=200, channels="II", within_s=600)


def test_a_day_holds_every_beat_on_time(day):
    times = np.array([beat.time_s for beat in read_beats(day)])
    assert len(times) == DAY_S * RATE_BPM // 60 == 100_800
    due = times[0] + np.arange(len(times)) * 60.0 / RATE_BPM
    assert np.abs(times - due).max() <= 0.001


def test_the_samples_do_not_drift_either(day):
    """70 bpm and 15 breaths/min repeat together every 12 s, so the last 12 s must be the first 12 s over again."""
    recording = read_wav(day)
    lead = recording.stored["II"].astype(np.int64)
    assert len(lead) == DAY_S * 200
    period = 12 * 200
    # From the second period on: the first has no beat before it.
    early, late = lead[period : 2 * period], lead[-period:]
    steepest = np.abs(np.diff(early)).max() / 0.005
    largest_step = np.abs(early - late).max()
    # How far apart in time the two would have to be to differ that much where the signal is steepest.
    assert largest_step / steepest <= 0.001
    # A shift of one frame, 5 ms, would be seen.
    assert np.abs(early - np.roll(late, 1)).max() / steepest > 0.001
