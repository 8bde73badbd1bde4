"""Frames for a bench rig, read back by an ideal rig that is written here from the documentation alone."""

from __future__ import annotations

import csv
import json
from fractions import Fraction

import bench
import jsonschema
import numpy as np
import pytest
import scripts
from scipy import signal
from program import ROOT, assert_refused, files_below, rendered, run, succeed
from reading import beside, read_channels, read_wav

LEADS = ("I", "II", "V1", "V2", "V3", "V4", "V5", "V6")


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """Beats, pulses and breaths at their usual sizes."""
    return scripts.write(
        tmp_path_factory.mktemp("rig") / "mixed.json",
        scripts.step(8, rate_bpm=80),
        scripts.step(8, "ventricular-bigeminy", rate_bpm=80),
        scripts.step(4, "ventricular-fibrillation"),
    )


@pytest.fixture(scope="module")
def exact(source):
    """The same script as floats: the signal that the rig should carry."""
    names = ",".join((*LEADS, "arterial", "pulmonary", "respiration"))
    return read_wav(rendered(source, source.parent / "exact.wav", bits="float", channels=names))


def described(folder, name="rig.json", bits=16, coding="twos-complement", **changes):
    """The example rig with changes of its outputs by name."""
    document = json.loads((ROOT / "examples" / "rig" / "bench.json").read_text(encoding="utf-8"))
    document["converter"] |= {"bits": bits, "coding": coding}
    for output in document["outputs"]:
        word = output.get("electrode") or output.get("pressure") or "respiration"
        output |= changes.get(word, {})
    path = folder / name
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def wanted(exact, name):
    """The values that an output should carry, in its unit, from the float render."""
    if name in exact.channels:
        if name.startswith("V"):
            return exact.values(name)
        return exact.values(name)
    return bench.electrode_mv({lead: exact.values(lead) for lead in LEADS}, name)


@pytest.mark.parametrize(("bits", "coding"), [(12, "offset-binary"), (16, "twos-complement"), (16, "offset-binary"), (20, "twos-complement"), (24, "offset-binary")])
def test_an_ideal_rig_recovers_every_output_within_half_a_step(source, exact, tmp_path, bits, coding):
    rig = described(tmp_path, bits=bits, coding=coding, LA={"polarity": "inverted", "electrode": "L"}, V6={"electrode": "C6"})
    target = tmp_path / "out.raw"
    succeed("render", source, "--rig", rig, "-o", target, "--frame-rate", 500)
    codes = bench.raw_codes(target, rig)
    built = bench.outputs(rig)
    assert codes.shape == (exact.n_frames, len(built)) == (10_000, 13)
    for i, output in enumerate(built):
        found = output.as_signal(output.at_connector(codes[:, i]))
        signal = wanted(exact, output.name)
        off = np.abs(found - signal).max()
        # The model and the program may round the last bit of their 53 differently.
        # A slope has 31 bits, which count over half the codes at most: at 24 bits 2^-8 of a step.
        assert off <= output.half_step() * (1 + 2.0 ** (bits - 31)) + 1e-12 * np.abs(signal).max(), output.name
        if output.name != "RL":
            assert len(set(codes[:, i].tolist())) > 20, f"{output.name} hardly moves: nothing is proven"


def test_all_twelve_leads_come_back_exactly_from_electrodes(exact):
    """In whole fractions, without any rounding: the formulas lose nothing."""
    for frame in range(0, exact.n_frames, 97):
        lead = {name: Fraction(float(exact.stored[name][frame])) for name in LEADS}
        i, ii = lead["I"], lead["II"]
        electrodes = {"RA": -(i + ii) / 3, "LA": (2 * i - ii) / 3, "LL": (2 * ii - i) / 3, **{f"V{k}": lead[f"V{k}"] for k in range(1, 7)}}
        found = bench.leads_of(electrodes)
        assert {name: found[name] for name in LEADS} == lead
        assert found["III"] == ii - i
        assert found["aVR"] + found["aVL"] + found["aVF"] == 0


def test_leads_at_the_monitor_are_within_the_steps_of_their_electrodes(source, exact, tmp_path):
    """A bipolar lead has the roundings of two codes, a chest lead those of its own and a third of three limbs: one step at most."""
    rig = described(tmp_path)
    succeed("render", source, "--rig", rig, "-o", tmp_path / "out.raw", "--frame-rate", 500)
    codes = bench.raw_codes(tmp_path / "out.raw", rig)
    built = {output.name: (output, codes[:, i]) for i, output in enumerate(bench.outputs(rig))}
    mv = {name: output.at_connector(c) for name, (output, c) in built.items()}
    step = 2 * built["RA"][0].half_step()
    centre = (mv["RA"] + mv["LA"] + mv["LL"]) / 3
    i, ii = exact.values("I"), exact.values("II")
    for found, lead in [
        (mv["LA"] - mv["RA"], i),
        (mv["LL"] - mv["RA"], ii),
        (mv["LL"] - mv["LA"], ii - i),
        (1.5 * (mv["RA"] - centre), -0.5 * (i + ii)),
        (1.5 * (mv["LA"] - centre), i - 0.5 * ii),
        (1.5 * (mv["LL"] - centre), ii - 0.5 * i),
        *((mv[f"V{k}"] - centre, exact.values(f"V{k}")) for k in range(1, 7)),
    ]:
        assert np.abs(found - lead).max() <= step * (1 + 1e-6)
    assert np.abs(i).max() > 1000 * step


@pytest.mark.parametrize(("bits", "coding"), [(16, "twos-complement"), (24, "twos-complement"), (12, "offset-binary")])
def test_wav_holds_the_codes_of_the_raw_file(source, tmp_path, bits, coding):
    rig = described(tmp_path, bits=bits, coding=coding)
    for name in ("out.raw", "out2.wav"):
        succeed("render", source, "--rig", rig, "-o", tmp_path / name, "--frame-rate", 500)
    recording = read_wav(tmp_path / "out2.wav")
    codes = bench.raw_codes(tmp_path / "out.raw", rig)
    for i, stored in enumerate(recording.stored.values()):
        assert np.array_equal(stored, codes[:, i])


def test_a_stream_is_the_raw_file(source, tmp_path):
    rig = described(tmp_path)
    succeed("render", source, "--rig", rig, "-o", tmp_path / "out.raw", "--frame-rate", 500)
    outcome = succeed("render", source, "--rig", rig, "-o", "-", "--format", "raw", "--frame-rate", 500)
    assert outcome.stdout == (tmp_path / "out.raw").read_bytes()


def test_the_table_says_what_each_code_is(source, tmp_path):
    rig = described(tmp_path, RA={"polarity": "inverted", "correction": {"gain": 1.02, "offset": -0.25}})
    target = tmp_path / "out.raw"
    succeed("render", source, "--rig", rig, "-o", target, "--frame-rate", 500)
    document = json.loads(beside(target, "channels.json").read_text(encoding="utf-8"))
    codes = np.array([-32_768, -1, 0, 1, 32_767])
    errors = {"RA": (1.02, -0.25)}
    for channel, output in zip(document["channels"], bench.outputs(rig, errors), strict=True):
        assert channel["name"] == output.name
        connector = output.at_connector(codes)
        assert codes * channel["connector"]["scale"] + channel["connector"]["offset"] == pytest.approx(connector, rel=1e-9, abs=1e-9)
        assert codes * channel["scale"] + channel["offset"] == pytest.approx(output.as_signal(connector), rel=1e-9, abs=1e-9)
        assert [channel["min"], channel["max"]] == pytest.approx(sorted(output.as_signal(connector)[[0, -1]]), rel=1e-9)
    assert [channel.get("iec_label") for channel in document["channels"]][:4] == ["R", "L", "F", "N"]
    rate, channels = read_channels(target)
    assert (rate, len(channels)) == (500, 13)


def test_clipping_is_refused_or_counted(source, tmp_path):
    rig = described(tmp_path, V2={"attenuation": 5000})
    before = files_below(tmp_path)
    assert_refused(run("render", source, "--rig", rig, "-o", tmp_path / "out.raw"), "V2", "--clip count")
    assert files_below(tmp_path) == before
    outcome = succeed("render", source, "--rig", rig, "-o", tmp_path / "out.raw", "--clip", "count")
    document = json.loads(beside(tmp_path / "out.raw", "channels.json").read_text(encoding="utf-8"))
    clipped = {channel["name"]: channel["clipped"] for channel in document["channels"] if channel["clipped"]}
    codes = bench.raw_codes(tmp_path / "out.raw", rig)[:, 5]
    ends = int(((codes == -32_768) | (codes == 32_767)).sum())
    # A sample may round to an end without being beyond it.
    assert set(clipped) == {"V2"}
    assert 0 < clipped["V2"] <= ends <= clipped["V2"] + 20
    assert f"V2: {clipped['V2']} samples" in outcome.stderr


def test_the_schema_takes_the_example_and_what_the_program_takes(tmp_path):
    schema = json.loads(succeed("schema", "rig").stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    good = json.loads((ROOT / "examples" / "rig" / "bench.json").read_text(encoding="utf-8"))
    assert validator.is_valid(good)

    def changed(change):
        document = json.loads(json.dumps(good))
        change(document)
        return document

    bad = [
        changed(lambda d: d.pop("version")),
        changed(lambda d: d.pop("converter")),
        changed(lambda d: d.update(outputs=[])),
        changed(lambda d: d["converter"].update(bits=7)),
        changed(lambda d: d["converter"].update(bits=25)),
        changed(lambda d: d["converter"].update(coding="gray")),
        changed(lambda d: d["converter"].pop("coding")),
        changed(lambda d: d["outputs"][0].update(electrode="R1")),
        changed(lambda d: d["outputs"][0].update(attenuation=0)),
        changed(lambda d: d["outputs"][0].update(attenuation="401")),
        changed(lambda d: d["outputs"][0].update(attenuaton=401)),
        changed(lambda d: d["outputs"][0].pop("attenuation")),
        changed(lambda d: d["outputs"][0].update(pressure="arterial")),
        changed(lambda d: d["outputs"][10].pop("excitation_v")),
        changed(lambda d: d["outputs"][12].update(respiration="lamp")),
        changed(lambda d: d["outputs"][0].update(correction={"gain": 0})),
        changed(lambda d: d.update(filter={"corner_hz": 300})),
    ]
    for i, document in enumerate(bad):
        path = tmp_path / f"bad{i}.json"
        path.write_text(json.dumps(document), encoding="utf-8")
        assert not validator.is_valid(document), document
        assert_refused(run("rig", "check", path), path.name)
    assert run("rig", "check", ROOT / "examples" / "rig" / "bench.json").code == 0


def test_what_the_report_says_is_arithmetic(tmp_path):
    """Steps against the fact sheet's example (16 bit over +/-10 mV is 0.31 uV, 12 bit 4.9 uV) and the droop of a hold."""
    document = {"version": 1, "converter": {"bits": 16, "low_v": -2.5, "high_v": 2.5, "coding": "offset-binary"}, "outputs": [{"electrode": limb, "attenuation": 250} for limb in ("RA", "LA", "LL")]}
    for bits, step, word in ((16, "0.3052 uV", ""), (12, "4.883 uV", "coarse")):
        document["converter"]["bits"] = bits
        (tmp_path / "r.json").write_text(json.dumps(document), encoding="utf-8")
        text = succeed("rig", "check", tmp_path / "r.json", "--frame-rate", 1000).stdout.decode()
        line = next(x for x in text.splitlines() if x.startswith("RA"))
        assert step in line and line.endswith(word or "not measured")
    droop = next(x for x in text.splitlines() if x.startswith("150 ")).split()
    assert float(droop[1]) == pytest.approx(np.sinc(0.15), abs=5e-5)
    assert float(droop[2]) == pytest.approx(20 * np.log10(np.sinc(0.15)), abs=5e-3)
    assert (droop[3], float(droop[4])) == ("850", pytest.approx(20 * np.log10(np.sinc(0.85)), abs=5e-3))


def test_what_a_rig_cannot_be_rendered_to_is_refused(source, tmp_path):
    rig = described(tmp_path, coding="offset-binary")
    before = files_below(tmp_path)
    assert_refused(run("render", source, "--rig", rig, "-o", tmp_path / "x.wav"), "twos-complement", ".raw")
    assert_refused(run("render", source, "--rig", rig, "-o", tmp_path / "x.csv"), ".raw")
    assert_refused(run("render", source, "--rig", rig, "-o", tmp_path / "x.raw", "--channels", "II"), "--channels")
    assert_refused(run("render", source, "--rig", tmp_path / "none.json", "-o", tmp_path / "x.raw"), "none.json")
    assert_refused(run("render", source, "--rig", source, "-o", tmp_path / "x.raw"), "converter")
    assert_refused(run("render", source, "--rig", rig, "-o", rig, "--format", "raw", "--force"), "rig.json is an input")
    assert files_below(tmp_path) == before


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda d: [o.update(attenuation=1) for o in d["outputs"] if "electrode" in o], "2500.0000 mV"),
        (lambda d: d["outputs"][12].update(base_ohm=1), "-4.0000 ohm"),
        (lambda d: d.update(outputs=d["outputs"][:1]), "LA, LL"),
        (lambda d: d["converter"].update(bits=8), "uV"),
        (lambda d: d.update(ac_coupling_hz=0.05), "arterial is coupled by AC"),
        (lambda d: d.update(ac_coupling_hz=20, outputs=d["outputs"][:10]), "a monitor must find 0.5 mV"),
    ],
)
def test_a_rig_that_can_hurt_or_cannot_work_is_a_failed_check(change, why, tmp_path):
    document = json.loads((ROOT / "examples" / "rig" / "bench.json").read_text(encoding="utf-8"))
    change(document)
    path = tmp_path / "bench.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    outcome = run("rig", "check", path)
    assert outcome.code == 1 and "error: " in outcome.stderr, outcome
    assert why in outcome.stderr, outcome.stderr


def test_the_reference_is_not_measured_and_a_meter_is_a_load(tmp_path):
    bench_json = ROOT / "examples" / "rig" / "bench.json"
    free = {line.split()[0]: float(line.split()[3]) for line in succeed("calibrate", bench_json).stdout.decode().splitlines()[1::2]}
    loaded = {line.split()[0]: float(line.split()[3]) for line in succeed("calibrate", bench_json, "--meter-ohm", "10M").stdout.decode().splitlines()[1::2]}
    assert "RL" not in free and "RA" in free
    # 51 kohm into 10 Mohm, and into 10 Mohm beside 10 Mohm.
    expected = (5e6 / (5e6 + 51e3)) / (1e7 / (1e7 + 51e3))
    assert loaded["RA"] / free["RA"] == pytest.approx(expected, abs=1e-4)
    assert loaded["respiration"] == free["respiration"]
    refused = run("calibrate", bench_json, "--meter", "m", "--reading", "RL=-4.6/4.6")
    assert refused.code == 2 and "reference" in refused.stderr


@pytest.mark.parametrize("corner_hz", [0.01, 0.053, 0.055, 0.3, 2.0, 6.0, 6.6, 20.0])
def test_ac_coupling_is_judged_by_what_it_leaves(corner_hz, tmp_path):
    """The answers of a high-pass of first order to the test signals by scipy, and the verdicts that follow from them.

    0.5 mV: the least QRS that a monitor finds; 5 %: a gain's accuracy (both IEC 60601-2-27, as makers quote it). 0.1 mV and 0.3 mV/s
    after 3 mV for 100 ms: limits of IEC 60601 quoted in Maji and Burke, IEEE Trans. Instrum. Meas. 2020.
    """
    hz = 200_000
    highpass = signal.butter(1, corner_hz, "highpass", fs=hz, output="sos")
    time = np.arange(2 * hz) / hz
    qrs = signal.sosfilt(highpass, np.clip(1 - np.abs(time - 0.04) / 0.04, 0, 1)).max()
    after = signal.sosfilt(highpass, np.where(time < 0.1, 3.0, 0.0))[int(0.1 * hz) + 1 :]
    slope = np.abs(np.diff(after)).max() * hz
    level = signal.sosfilt(highpass, np.ones(2 * hz))[hz]
    document = json.loads((ROOT / "examples" / "rig" / "bench.json").read_text(encoding="utf-8"))
    # Electrodes alone: a pressure behind it is a fault.
    document.update(ac_coupling_hz=corner_hz, outputs=document["outputs"][:10])
    path = tmp_path / "card.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    outcome = run("rig", "check", path)
    rows = {line.split("  ")[0]: line for line in outcome.stdout.decode().splitlines() if "possible" in line}
    shown = {what: float(line.split()[-2 if line.endswith("mV") else -3]) for what, line in rows.items()}
    assert shown["tests of rate"] == pytest.approx(qrs, abs=2e-3) == shown["tests of amplitude"]
    assert shown["tests of ST"] == pytest.approx(after[0], abs=5e-3)
    assert shown["pressures, respiration, offsets"] == pytest.approx(level, abs=2e-3)
    verdicts = {what: "not possible" not in line for what, line in rows.items()}
    assert verdicts == {
        "tests of rate": qrs >= 0.5,
        "tests of amplitude": qrs >= 0.95,
        "tests of ST": abs(after[0]) <= 0.1 and slope <= 0.3,
        "pressures, respiration, offsets": False,
    }
    assert outcome.code == (0 if qrs >= 0.5 else 1)


def test_the_guide_says_how_far_a_coupling_moves_st_and_waves(tmp_path):
    """The table of docs/rig.md against a render behind a high-pass of first order by scipy; instants of a beat are those of its truth."""
    target = tmp_path / "st.wav"
    flags = ("--rhythm", "sinus", "--set", "rate_bpm=75", "--set", "st.inferior_mv=0.2", "--duration", "60s", "--frame-rate", 1000)
    succeed("render", *flags, "--bits", "float", "--channels", "II,V2", "-o", target)
    recording = read_wav(target)
    with beside(target, "beats.csv").open(newline="", encoding="utf-8") as file:
        beat = list(csv.DictReader(file))[50]
    onset, j = (round(float(beat[name]) * 1000) for name in ("qrs_onset_s", "qrs_end_s"))
    guide = (ROOT / "docs" / "rig.md").read_text("utf-8").split("| corner |")[1].split("\n\n")[0]
    rows = [[cell.strip().replace("\u2212", "-") for cell in row.split("|")[1:-1]] for row in guide.splitlines()[2:]]
    assert [row[0] for row in rows] == ["none", "0.05 Hz", "0.5 Hz", "1 Hz", "5 Hz"]
    st_before = None
    for corner, st_ii, st_v2, r, t in rows:
        through = {lead: recording.values(lead) for lead in ("II", "V2")}
        if corner != "none":
            highpass = signal.butter(1, float(corner.split()[0]), "highpass", fs=1000, output="sos")
            through = {lead: signal.sosfilt(highpass, values) for lead, values in through.items()}
        above = {lead: values[onset:] - values[onset] for lead, values in through.items()}
        st = {lead: values[j + 60 - onset] for lead, values in above.items()}
        st_before = st_before or st
        change_uv = [1000 * (st[lead] - st_before[lead]) for lead in ("II", "V2")]
        if corner == "none":
            assert st["II"] == pytest.approx(float(st_ii.split()[0]), abs=0.006)
        else:
            assert change_uv == pytest.approx([float(cell.split()[0]) for cell in (st_ii, st_v2)], abs=1), corner
        waves = [above["II"][: j - onset].max(), above["II"][j + 60 - onset : j + 400 - onset].max()]
        assert waves == pytest.approx([float(cell.split()[0]) for cell in (r, t)], abs=0.006), corner
