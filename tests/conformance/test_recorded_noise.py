"""Noise of recordings, read from the samples: ratio, RMS, spectrum and leads by scipy, detectors that it disturbs, logs that play it.

The ratio is that of the noise stress test, as in test_noise_ratio.py. The noise is invented: random numbers, written by general
libraries; and record 100 of an open database, whose samples are known.
"""

from __future__ import annotations

import json
import re
import shutil

import numpy as np
import pytest
import wfdb
from detectors import DETECTORS
from program import ROOT, assert_refused, run, streamed_live, succeed
from scipy import signal as dsp
from scipy.io import wavfile
from test_noise_ratio import noise_power, signal_power

HZ = 500
NOISE_HZ = 360
RECORDINGS = ROOT / "tests" / "data" / "recordings"
LEADS = "I,II,III,V1,V2,V3,V4,V5,V6"


def band_noise(seconds, channels, seed):
    """Noise of 0.5 to 40 Hz whose size changes, with a level of its own; columns."""
    rng = np.random.default_rng(seed)
    band = dsp.butter(2, (0.5, 40), "bandpass", fs=NOISE_HZ, output="sos")
    noise = dsp.sosfiltfilt(band, rng.normal(size=(seconds * NOISE_HZ, channels)), axis=0)
    size = np.interp(np.arange(len(noise)) / NOISE_HZ, np.arange(0, seconds + 1, 7), rng.uniform(0.3, 2, seconds // 7 + 1))
    return noise * size[:, None] * [0.7, 0.2][:channels] + 0.3


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with noise in every form, and record 100."""
    folder = tmp_path_factory.mktemp("noise")
    pair = band_noise(70, 2, 3)
    names = ["one", "two"]
    wfdb.wrsamp("pair", fs=NOISE_HZ, units=["mV", "uV"], sig_name=names, p_signal=pair, fmt=["16", "16"], write_dir=str(folder))
    times = np.arange(len(pair)) / NOISE_HZ
    np.savetxt(folder / "pair.csv", np.column_stack([times, pair]), delimiter=",", header="time_s,one,two", comments="", fmt="%.6f")
    wavfile.write(folder / "single.wav", NOISE_HZ, np.round(pair[:, 0] * 5000).astype(np.int16))
    for ending in ("atr", "hea", "dat"):
        shutil.copy(RECORDINGS / f"100.{ending}", folder)
    return folder


def write(folder, name, steps, seed=5):
    script = folder / f"{name}.json"
    script.write_text(json.dumps({"version": 1, "notes": "Invented data.", "seed": seed, "steps": steps}))
    return script


def render(folder, name, steps, *words, channels=LEADS, rate=HZ):
    out = folder / f"{name}.wav"
    succeed("render", write(folder, name, steps), "-o", out, "--channels", channels, "--bits", "float", "--frame-rate", rate, "--force", *words)
    return np.asarray(wavfile.read(out)[1], dtype=float)


# As long as the noise is measured.
STRETCH_S = 60
CLEAN = {"duration_s": STRETCH_S, "rhythm": "sinus", "rate_bpm": 80}


@pytest.fixture(scope="module")
def clean(folder):
    return render(folder, "clean", [CLEAN])


@pytest.mark.parametrize("noise", [{"file": "pair.hea"}, {"file": "pair.csv", "channels": ["two"]}, {"file": "single.wav"}])
def test_the_noise_has_the_ratio_that_is_asked_for(folder, clean, noise):
    for db in (12, -3):
        loud = render(folder, "loud", [{**CLEAN, "noise": {**noise, "snr_db": db, "end_s": STRETCH_S}}])
        measured = 10 * np.log10(signal_power(clean[:, 1]) / noise_power(loud[:, 1] - clean[:, 1]))
        assert abs(measured - db) < 0.2, (noise, db, measured)
    # Channels that are not correlated give all leads the same size.
    sizes = np.sqrt([noise_power(loud[:, place] - clean[:, place]) for place in range(9)])
    assert np.all(np.abs(sizes / sizes[1] - 1) < 0.12), sizes


def test_an_rms_is_that_of_lead_ii(folder, clean):
    loud = render(folder, "rms", [{**CLEAN, "noise": {"file": "pair.hea", "mv": 0.25, "end_s": STRETCH_S}}])
    assert abs(np.sqrt(noise_power(loud[:, 1] - clean[:, 1])) - 0.25) < 0.002


def test_the_leads_are_the_channels_of_the_recording(folder, clean):
    """Samples and spectrum: lead I is the first channel, V2 the second, resampled by scipy, times the gain that is stated."""
    loud = render(folder, "same", [{**CLEAN, "noise": {"file": "pair.hea", "snr_db": 0, "start_s": 10}}])
    note = next(note for note in json.loads((folder / "same.channels.json").read_text())["notes"] if "noise of a recording" in note)
    gains, levels = ([float(word) for word in re.findall(form, note)] for form in (r"([-\d.e]+) mV times", r"less ([-\d.e]+)"))
    recorded = wfdb.rdrecord(str(folder / "pair")).p_signal * [1, 0.001]
    stretch = recorded[10 * NOISE_HZ :]
    wanted = (dsp.resample(stretch, STRETCH_S * HZ) - levels) * gains
    noise = loud - clean
    assert abs(np.mean(stretch[:, 0]) - levels[0]) < 1e-4
    middle = slice(5 * HZ, -5 * HZ)
    assert np.abs(noise[middle][:, [0, 4]] - wanted[middle]).max() < 0.002
    assert np.abs(noise[middle, 1] - 0.5 * wanted[middle, 0] - np.sqrt(0.75) * wanted[middle, 1]).max() < 0.002
    of_noise, of_recording = (dsp.welch(x, rate, nperseg=4 * rate) for x, rate in ((noise[middle, 0], HZ), (gains[0] * stretch[5 * NOISE_HZ : -5 * NOISE_HZ, 0], NOISE_HZ)))
    band = (of_recording[0] >= 0.5) & (of_recording[0] < 60)
    assert np.abs(10 * np.log10(of_noise[1][: len(band)][band] / of_recording[1][band])).max() < 0.3


def test_a_stretch_begins_again_and_one_channel_is_the_second_later(folder):
    still = {"rhythm": "asystole", "duration_s": 9.5}
    noise = {"file": "100.hea", "channels": ["MLII"], "mv": 0.5, "start_s": 20, "end_s": 24}
    alone = render(folder, "still", [still], rate=NOISE_HZ)
    played = render(folder, "again", [{**still, "noise": noise}], rate=NOISE_HZ) - alone
    record = wfdb.rdrecord(str(RECORDINGS / "100")).p_signal[20 * NOISE_HZ : 24 * NOISE_HZ, 0]
    centred = record - record.mean()
    fade, length = NOISE_HZ // 10, 4 * NOISE_HZ
    for start in (0, length):
        one = played[start + fade : start + length, 0]
        gain = np.dot(one, centred[fade:]) / np.dot(centred[fade:], centred[fade:])
        assert np.abs(one - gain * centred[fade:]).max() < 1e-4
        two = played[start + length // 2 + fade : start + 3 * length // 2, 4][: 2 * NOISE_HZ]
        assert np.corrcoef(two, centred[fade : fade + len(two)])[0, 1] > 0.9999


def test_the_noise_comes_and_goes_and_is_an_episode(folder):
    steps = [{"duration_s": 3, "rhythm": "asystole"}, {"duration_s": 4, "noise": {"file": "pair.hea", "mv": 1}}, {"duration_s": 3}]
    played = render(folder, "ends", steps, channels="II")
    before, after = played[: 3 * HZ], played[int(7.5 * HZ) :]
    assert np.ptp(before) < 1e-6 and np.ptp(after) < 1e-6
    assert np.std(played[int(3.5 * HZ) : 7 * HZ]) > 0.2
    # Half a second up and down: a jump at an end would be one of a whole value.
    jumps = np.abs(np.diff(played))
    usual = jumps[4 * HZ : 6 * HZ].max()
    assert jumps[3 * HZ - 2 : 3 * HZ + 2].max() < 0.1 * usual and jumps[7 * HZ - 2 : 7 * HZ + 2].max() <= usual
    rows = (folder / "ends.episodes.csv").read_text().splitlines()
    assert rows[1:] == ["3.000000,7.000000,noise"], rows


def test_noise_does_not_jump_between_steps_shorter_than_its_glide(folder):
    noise = {"file": "pair.hea", "mv": 1}
    lengths = ((2, True), (0.02, False), (0.6, False), (0.1, True), (2, False), (0.3, True), (0.05, True), (1, True))
    steps = [{"duration_s": length, "rhythm": "asystole"} | ({"noise": noise} if on else {}) for length, on in lengths]
    lead = render(folder, "short", steps, channels="II")
    steepest = np.abs(np.diff(lead[: int(1.9 * HZ)])).max()
    for border in np.cumsum([length for length, _ in lengths])[:-1]:
        at = round(border * HZ)
        # 1 mV of noise of up to 40 Hz; a stretch that begins anew may move as far as the loudest noise does in a frame.
        assert np.abs(np.diff(lead[at - 2 : at + 2])).max() < 1.5 * steepest, border


def test_a_detector_finds_less_in_more_noise(folder):
    detector = next(one for one in DETECTORS if one.name == "sleepecg")
    found = []
    for db in (24, -6):
        step = {"duration_s": 120, "rhythm": "sinus", "rate_bpm": 80, "noise": {"file": "pair.hea", "snr_db": db}}
        lead = render(folder, "detected", [step], channels="II")
        truth = np.loadtxt(folder / "detected.beats.csv", delimiter=",", skiprows=1, usecols=0)
        heard = np.asarray(detector.beats_s(lead, HZ))
        pairs = sum(np.abs(heard - at).min() < 0.15 for at in truth)
        found.append(2 * pairs / (len(truth) + len(heard)))
    assert found[0] > 0.99 and found[1] < 0.9, found


def test_a_stream_and_its_log_play_the_frames_of_the_render(folder):
    noise = {"file": "pair.hea", "snr_db": 3, "end_s": 1.7}
    script = write(folder, "streamed", [{"duration_s": 2, "noise": {"file": "single.wav", "mv": 0.1}}, {"duration_s": 4, "noise": noise}, {"duration_s": 2}])
    log = folder / "noise-log.json"
    words = ("--channels", "II,V5", "--frame-rate", 250, "--bits", 24)
    rendered = succeed("render", script, "-o", "-", "--format", "raw", *words).stdout
    assert succeed("stream", script, "--fast", "--log", log, "--force", *words).stdout == rendered
    assert succeed("render", log, "-o", "-", "--format", "raw", *words).stdout == rendered
    hold = write(folder, "held", [{"duration_s": "hold", "noise": noise}])
    sent = streamed_live(250 * 6, b"rhythm atrial-fibrillation", hold, "--duration", "4s", "--log", log, "--force", *words)
    assert len(sent) == 4 * 250 * 6
    steps = json.loads(log.read_text())["steps"]
    assert steps[1]["noise"]["passed_s"] > 0 and steps[1]["rhythm"] == "atrial-fibrillation"
    assert succeed("render", log, "-o", "-", "--format", "raw", *words).stdout == sent


@pytest.mark.parametrize(
    ("noise", "words"),
    [
        (7, "noise can't be a number"),
        ({"snr_db": 3}, '"file" is missing'),
        ({"file": "pair.hea"}, '"snr_db" is missing'),
        ({"file": "pair.hea", "snr_db": 3, "mv": 1}, "an amplitude beside its ratio"),
        ({"file": "pair.hea", "snr_db": 99}, "snr_db"),
        ({"file": "pair.hea", "mv": 11}, "mv"),
        ({"file": "pair.hea", "snr_db": -40}, "at most 10"),
        ({"file": "nix.hea", "mv": 1}, "can't be read"),
        ({"file": "../pair.hea", "mv": 1}, "no file beside the script"),
        ({"file": "pair.hea", "mv": 1, "channels": ["twoo"]}, 'did you mean "two"'),
        ({"file": "pair.hea", "mv": 1, "channels": []}, "0 channels of noise"),
        ({"file": "pair.hea", "mv": 1, "channels": ["two", "two"]}, "named twice"),
        ({"file": "pair.hea", "mv": 1, "start_s": 400}, "lasts 70.000 s"),
        ({"file": "pair.hea", "mv": 1, "end_s": 3, "loop": "none"}, "longer than the 3.000 s"),
        ({"file": "pair.hea", "mv": 1, "loop": "beats"}, "can't be"),
        ({"file": "flat.csv", "mv": 1}, "no noise in the stretch"),
    ],
)
def test_what_has_no_noise_is_refused(folder, noise, words):
    (folder / "flat.csv").write_text("time_s,a\n0,1\n0.01,1\n0.02,1\n0.03,1\n")
    assert_refused(run("check", write(folder, "refused", [{"duration_s": 9, "noise": noise}])), words)


def test_steps_without_beats_and_images_are_refused(folder):
    noise = {"file": "pair.hea", "snr_db": 3}
    assert_refused(run("check", write(folder, "none", [{"duration_s": 9, "rhythm": "asystole", "noise": noise}])), "no beats in lead II")
    assert_refused(run("compile", write(folder, "board", [{"duration_s": 9, "noise": noise}]), "-o", folder / "board.img"), "holds no samples")
