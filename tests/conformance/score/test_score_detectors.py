"""Real detectors on a person's record: our figures against two other comparators, beat for beat."""

from __future__ import annotations

import functools
import warnings

import numpy as np
import pytest
from comparator import compare
from detectors import DETECTORS
from wfdb.processing import compare_annotations

WINDOW = 54
"""150 ms at 360 Hz, inclusive."""

FRAMES = ("--test-rate-hz", 360)
WHOLE = (*FRAMES, "--learning-s", 0)


pytestmark = pytest.mark.xdist_group("score on record 100")


@functools.cache
def heard(detector, record):
    """Frames of the beats that a detector hears in the record; one run serves all tests here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frames = np.asarray(detector.find(record.lead_mv, record.rate_hz))
    return np.unique(np.round(frames).astype(int))


def by_wfdb(reference, test):
    """The same lists by the comparator of the `wfdb` package, whose window is exclusive."""
    found = compare_annotations(reference, test, WINDOW + 1)
    pairs = list(zip(found.matched_ref_sample.tolist(), found.matched_test_sample.tolist(), strict=True))
    return pairs, found.unmatched_ref_sample.tolist(), found.unmatched_test_sample.tolist()


@pytest.mark.parametrize("detector", DETECTORS, ids=lambda d: d.name)
def test_figures_equal_two_other_comparators_beat_for_beat(detector, record_100, score, write_frames):
    frames = heard(detector, record_100)
    scored = score(record_100.reference, write_frames(frames), *WHOLE)
    assert scored.code == 0, scored.err
    ours = scored.beats(record_100.rate_hz)
    assert ours == by_wfdb(record_100.beats, frames)
    second = compare(record_100.beats.tolist(), frames.tolist(), WINDOW)
    assert ours == (second.pairs, second.missed, second.extra)
    assert scored.counts() == (len(second.pairs), len(second.missed), len(second.extra))
    assert sum(scored.counts()[:2]) == 2273


@pytest.mark.parametrize("detector", DETECTORS[:3], ids=lambda d: d.name)
def test_learning_period_leaves_out_the_first_five_minutes(detector, record_100, score, write_frames):
    frames = heard(detector, record_100)
    scored = score(record_100.reference, write_frames(frames), *FRAMES)
    pairs, missed, extra = by_wfdb(record_100.beats, frames)
    start = 300 * record_100.rate_hz
    expected = (
        [pair for pair in pairs if pair[0] >= start],
        [frame for frame in missed if frame >= start],
        [frame for frame in extra if frame >= start],
    )
    assert scored.beats(record_100.rate_hz) == expected
    assert 0 < len(expected[0]) < len(pairs)


@pytest.mark.parametrize("detector", DETECTORS[:3], ids=lambda d: d.name)
def test_interval_and_rate_errors(detector, record_100, score, write_frames):
    frames = heard(detector, record_100)
    rates = score(record_100.reference, write_frames(frames), *WHOLE).record["rates"]
    pairs, _, _ = by_wfdb(record_100.beats, frames)
    reference, test = record_100.beats.tolist(), frames.tolist()
    place = {frame: i for i, frame in enumerate(reference)}, {frame: i for i, frame in enumerate(test)}
    errors, intact = [], []
    for r, t in pairs:
        i, j = place[0][r], place[1][t]
        if i and j:
            error = ((t - test[j - 1]) - (r - reference[i - 1])) / 0.36
            errors.append(error)
            if (reference[i - 1], test[j - 1]) in set(pairs[max(0, i - 3) : i + 3]):
                intact.append(error)
    assert rates["rr_ms"]["count"] == len(errors)
    assert rates["rr_ms"]["rms"] == pytest.approx(np.sqrt(np.mean(np.square(errors))), rel=1e-9)
    assert rates["rr_intact_ms"]["count"] == len(intact)
    assert rates["rr_intact_ms"]["rms"] == pytest.approx(np.sqrt(np.mean(np.square(intact))), rel=1e-9)
    offsets = [(t - r) / 0.36 for r, t in pairs]
    assert rates["offset_ms"]["mean"] == pytest.approx(np.mean(offsets), rel=1e-9)
    # Heart rate over eight intervals; nearest reference value in time, the later of two equally near.
    rate = lambda beats: [(beats[i], 60 * 8 * 360 / (beats[i] - beats[i - 8])) for i in range(8, len(beats))]  # noqa: E731
    of_reference, of_test = rate(reference), rate(test)
    times = np.array([at for at, _ in of_reference])
    differences = []
    for at, bpm in of_test:
        gap = np.abs(times - at)
        nearest = np.flatnonzero(gap == gap.min())[-1]
        differences.append(bpm - of_reference[nearest][1])
    assert rates["rate_bpm"]["count"] == len(differences)
    assert rates["rate_bpm"]["rms"] == pytest.approx(np.sqrt(np.mean(np.square(differences))), rel=1e-6)


LIMITS = ("--min", "se=99.5", "--min", "ppv=99.5")


class TestWorsenedDetector:
    """A detector made worse on purpose turns the gate red, with the counts that the damage must give."""

    @pytest.fixture
    def frames(self, record_100):
        return heard(DETECTORS[0], record_100)

    def test_as_it_is_the_gate_is_green(self, frames, record_100, score, write_frames):
        scored = score(record_100.reference, write_frames(frames), *WHOLE, *LIMITS)
        assert scored.code == 0, scored.out

    def test_dropping_every_50th_beat(self, frames, record_100, score, write_frames):
        before = score(record_100.reference, write_frames(frames), *WHOLE).counts()
        worse = np.delete(frames, np.arange(49, len(frames), 50))
        scored = score(record_100.reference, write_frames(worse), *WHOLE, *LIMITS)
        dropped = len(frames) // 50
        # Each dropped beat was a match (this detector has no extra beat here), so each is now missed.
        assert before[2] == 0
        assert scored.counts() == (before[0] - dropped, before[1] + dropped, 0)
        assert scored.code == 1
        failed = [v["metric"] for v in scored.report["verdicts"] if not v["passed"]]
        assert failed == ["se"]

    def test_shifting_by_160_ms(self, record_100, score, write_frames):
        # A perfect detector, so that the count is known without any comparator: all wrong by 10 ms too much.
        shift = 58  # 161 ms, the nearest frame not below 160 ms
        assert np.diff(record_100.beats).min() > shift + WINDOW, "no shifted beat may reach the next one"
        late = score(record_100.reference, write_frames(record_100.beats + shift), *WHOLE, *LIMITS)
        # The record ends 9 frames after its last beat, so the answer to that beat comes after the end of the test period.
        assert (late.counts(), late.code) == ((0, 2273, 2272), 1)
        result = score(record_100.reference, write_frames(record_100.beats + shift), *WHOLE, *LIMITS, "--delay-ms", 161)
        assert (result.counts(), result.code) == ((2273, 0, 0), 0)

    def test_shifting_a_real_detector_by_160_ms(self, frames, record_100, score, write_frames):
        shifted = frames + 58
        scored = score(record_100.reference, write_frames(shifted), *WHOLE, *LIMITS)
        second = compare(record_100.beats.tolist(), shifted.tolist(), WINDOW)
        inside = [frame for frame in second.extra if frame <= len(record_100.lead_mv)]
        assert len(second.extra) - len(inside) == 1
        assert scored.beats(360) == (second.pairs, second.missed, inside)
        assert scored.counts()[0] < 2273 // 2
        assert scored.code == 1

    def test_doubling_tall_t_waves(self, frames, record_100, score, write_frames):
        # T peaks about 280 ms after the QRS at this rate; the tallest fifth of them are heard as beats as well.
        after = int(0.28 * 360)
        starts = frames[frames + after + 20 < len(record_100.lead_mv)]
        t_mv = np.array([record_100.lead_mv[f + after - 20 : f + after + 20].max() for f in starts])
        tall = starts[t_mv >= np.quantile(t_mv, 0.8)] + after
        before = score(record_100.reference, write_frames(frames), *WHOLE).counts()
        scored = score(record_100.reference, write_frames(np.sort(np.r_[frames, tall])), *WHOLE, *LIMITS)
        assert len(tall) > 400
        assert scored.counts() == (before[0], before[1], len(tall))
        assert scored.code == 1
        failed = [v["metric"] for v in scored.report["verdicts"] if not v["passed"]]
        assert failed == ["ppv"]
