"""WAV and CSV as general readers see them: widths, scales, times, limb leads, and one signal in every form."""

from __future__ import annotations

import numpy as np
import pytest
import scripts
from measuring import limb_lead_errors
from program import rendered
from reading import read_channels, read_csv, read_wav

LIMB = ("I", "II", "III", "aVR", "aVL", "aVF")
LEADS = (*LIMB, "V1", "V2", "V3", "V4", "V5", "V6")
BITS = {"16": 16, "24": 24, "32": 32}
UNITS = {"mV", "mmHg", "ohm"}


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """Every rhythm with countable and uncountable beats, both bodies, breathing that moves the ECG."""
    return scripts.write(
        tmp_path_factory.mktemp("formats") / "mixed.json",
        scripts.step(6, rate_bpm=80, ecg={"gain": 2.0}, breathing={"ecg_percent": 10}),
        scripts.step(6, "ventricular-bigeminy", rate_bpm=80),
        scripts.step(4, "ventricular-fibrillation"),
        scripts.step(4, "sinus", body="neonate", rate_bpm=140),
    )


@pytest.fixture(scope="module")
def forms(source):
    """The same script in every form, by the form's name."""
    folder = source.parent
    wav = {e: read_wav(rendered(source, folder / f"{e}.wav", bits=e)) for e in (*BITS, "float")}
    return wav, rendered(source, folder / "text.csv")


@pytest.mark.parametrize("bits", BITS)
def test_limb_leads_within_a_step_of_the_quantiser(forms, bits):
    recording = forms[0][bits]
    errors = limb_lead_errors({name: recording.stored[name] for name in LIMB})
    # Stored whole numbers of one common scale, so an error of 1 is one step of the quantiser.
    assert len({recording.channels[name].scale for name in LIMB}) == 1
    assert {recording.channels[name].offset for name in LIMB} == {0.0}
    assert np.abs(recording.stored["II"]).max() > 1000, "too small to prove anything"
    assert max(errors.values()) <= 1.0, errors


def test_limb_leads_of_floats(forms):
    recording = forms[0]["float"]
    leads = {name: recording.values(name) for name in LIMB}
    largest = max(np.abs(lead).max() for lead in leads.values())
    # Four roundings to the 24 bits of a float's significand.
    assert max(limb_lead_errors(leads).values()) <= 4 * largest * 2.0**-24


def test_limb_leads_of_csv_within_its_last_digit(forms):
    _, values, _ = read_csv(forms[1])
    line = next(x for x in forms[1].read_text(encoding="utf-8").splitlines() if x[:1].isdigit())
    last_digit = 10.0 ** -len(line.split(",")[1].partition(".")[2])
    assert last_digit <= 1e-3
    assert max(limb_lead_errors({n: values[n] for n in LIMB}).values()) <= last_digit * (1 + 1e-6)


def test_every_form_holds_the_same_signal(forms):
    wav, text = forms
    times, values, units = read_csv(text)
    exact = wav["float"]
    assert list(values) == list(exact.channels)
    assert times == pytest.approx(np.arange(exact.n_frames) / exact.frame_rate_hz, abs=5e-7)
    for name in exact.channels:
        assert units[name] == exact.channels[name].unit
        for bits in BITS:
            step = wav[bits].channels[name].scale
            worst = np.abs(wav[bits].values(name) - exact.values(name)).max()
            largest = np.abs(exact.values(name)).max()
            # Half a step of the quantiser, and the float's own rounding.
            assert worst <= 0.5 * step * (1 + 1e-6) + largest * 2.0**-23, (bits, name)
        # Text carries the decimals of the 16-bit form: the very same numbers.
        assert np.abs(values[name] - wav["16"].values(name)).max() < 1e-9, name


@pytest.mark.parametrize("bits", [*BITS, "float"])
def test_channels_say_what_the_numbers_mean(forms, bits):
    recording = forms[0][bits]
    assert list(recording.channels)[:12] == list(LEADS)
    assert {c.unit for c in recording.channels.values()} == UNITS
    if bits == "float":
        assert {(c.scale, c.offset) for c in recording.channels.values()} == {(1.0, 0.0)}
    # Plausible in the unit, so that a scale is not off by a thousand: mV, ohm and mmHg of a patient.
    assert 0.3 < np.ptp(recording.values("II")) < 6.0
    assert 100 < recording.values("respiration").mean() < 3000
    assert 20 < recording.values("arterial").mean() < 200
    if bits in BITS:
        limit = 2 ** (BITS[bits] - 1)
        for name, stored in recording.stored.items():
            assert stored.min() > -limit and stored.max() < limit - 1, f"{name} is clipped"


@pytest.mark.parametrize("frame_rate_hz", [100, 250, 360, 500, 1000, 8000, 48_000])
def test_frame_rates_sample_one_signal(source, forms, frame_rate_hz):
    target = rendered(source, source.parent / f"at{frame_rate_hz}.wav", frame_rate_hz=frame_rate_hz, bits="float", channels="II,arterial")
    recording = read_wav(target)
    assert recording.frame_rate_hz == frame_rate_hz
    assert recording.n_frames == 20 * frame_rate_hz
    assert list(recording.channels) == ["II", "arterial"]
    # Instants common to this rate and to 500 Hz hold the same values.
    reference = forms[0]["float"]
    common = np.gcd(frame_rate_hz, reference.frame_rate_hz)
    for name in ("II", "arterial"):
        ours = recording.values(name)[:: frame_rate_hz // common]
        theirs = reference.values(name)[:: reference.frame_rate_hz // common]
        assert np.abs(ours - theirs).max() < 1e-4 * max(1.0, np.abs(theirs).max()), name


def test_channel_choice_keeps_the_asked_order(source):
    target = rendered(source, source.parent / "chosen.wav", channels="V5,respiration,II")
    assert [c.name for c in read_channels(target)[1]] == ["V5", "respiration", "II"]


def test_electrodes_give_back_the_leads(source):
    """Wilson's terminal is the mean of RA, LA and LL; a lead is a difference of electrodes. Source: any ECG textbook."""
    names = ["I", "II", "III", "aVR", "aVL", "aVF", "V1", "V6", "electrode-RA", "electrode-LA", "electrode-LL", "electrode-V1", "electrode-V6"]
    target = rendered(source, source.parent / "electrodes.wav", bits="float", channels=",".join(names))
    value = read_wav(target).values
    ra, la, ll = (value(f"electrode-{name}") for name in ("RA", "LA", "LL"))
    centre = (ra + la + ll) / 3
    for lead, expected in {
        "I": la - ra,
        "II": ll - ra,
        "III": ll - la,
        "aVR": 1.5 * (ra - centre),
        "aVL": 1.5 * (la - centre),
        "aVF": 1.5 * (ll - centre),
        "V1": value("electrode-V1") - centre,
        "V6": value("electrode-V6") - centre,
    }.items():
        assert np.abs(value(lead) - expected).max() < 1e-5, lead
