"""The front end of a rig as a circuit: its netlist solved by ngspice (Debian) and by scipy, against the program and the description.

The netlist is the program's; every voltage here is another's.
"""

from __future__ import annotations

import csv
import json
import math
import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import scripts
from program import PROGRAM, ROOT, assert_refused, files_below, run, succeed
from reading import beside
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

RIGS = {name: ROOT / "examples" / "rig" / f"{name}.json" for name in ("front-end", "bench")}
# IEC 60063 (the values from memory): E96 is the rounded geometric row, E24 is not.
E96 = {round(10 ** (i / 96), 2) for i in range(96)}
E24 = {1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1}
WORDS = {"RA", "LA", "LL", *(f"V{k}" for k in range(1, 7)), "arterial", "pulmonary", "respiration"}


class Circuit:
    """Parts of a SPICE netlist of resistors, capacitors, voltage sources and amplifiers, solved by nodal analysis with scipy."""

    def __init__(self, text: str):
        lines = [line.split() for line in text.split(".control")[0].splitlines() if line[:1] in set("RCVE")]
        self.parts = [(words[0], words[1:5] if words[0][0] == "E" else words[1:3], float(self._value(words))) for words in lines]
        names = sorted({node for _, nodes, _ in self.parts for node in nodes} - {"0"})
        self.rows = {name: row for row, name in enumerate(names)}
        self.branches = [name for name, _, _ in self.parts if name[0] in "VE"]

    @staticmethod
    def _value(words):
        return words[5] if words[0][0] == "E" else words[4] if words[0][0] == "V" else words[3]

    def solve(self, hz=0.0, drive=None, factors=None):
        """Node voltages by name; `drive` replaces the volts of all sources, `factors` multiply values."""
        size = len(self.rows) + len(self.branches)
        places, values, right = [], [], np.zeros(size, dtype=complex if hz else float)
        branch = len(self.rows)

        def put(row, column, value):
            if row is not None and column is not None:
                places.append((row, column))
                values.append(value)

        for name, nodes, value in self.parts:
            value *= (factors or {}).get(name, 1.0)
            rows = [self.rows.get(node) for node in nodes]
            if name[0] == "R" or (name[0] == "C" and hz):
                admittance = 1 / value if name[0] == "R" else 2j * math.pi * hz * value
                for one in (0, 1):
                    put(rows[one], rows[one], admittance)
                    put(rows[one], rows[1 - one], -admittance)
            if name[0] not in "VE":
                continue
            for row, sign in zip(rows[:2], (1, -1), strict=True):
                put(row, branch, sign)
                put(branch, row, sign)
            if name[0] == "E":
                for row, sign in zip(rows[2:], (1, -1), strict=True):
                    put(branch, row, -sign * value)
            else:
                right[branch] = value if drive is None else drive.get(name, 0.0)
            branch += 1
        matrix = csc_matrix((values, np.array(places).T), shape=(size, size))
        solved = splu(matrix).solve(right)
        return {"0": 0.0, **{name: solved[row] for name, row in self.rows.items()}, "I": dict(zip(self.branches, solved[len(self.rows) :], strict=True))}


def level(circuit, output, **how):
    """mV at a connector, or ohm of the element at 50 kHz."""
    if output == "respiration":
        found = circuit.solve(hz=50e3, drive={"VTEST": 1.0}, factors=how.get("factors"))
        return 1 / abs(found["I"]["VTEST"])
    found = circuit.solve(**how)
    if output.lower() in circuit.rows:
        return 1000 * found[output.lower()].real
    return 1000 * (found[f"{output}_sp"] - found[f"{output}_sm"]).real


@pytest.fixture(scope="module", params=RIGS)
def designed(request, tmp_path_factory):
    """The files of a rig's front end, and what was printed."""
    folder = tmp_path_factory.mktemp("front")
    outcome = succeed("rig", "circuit", RIGS[request.param], "-o", folder / "made")
    text = (folder / "made/circuit.cir").read_text()
    return RIGS[request.param], folder / "made", outcome.stdout.decode(), text


def listed(name):
    """Designators that a part of the netlist may have in the parts list: amplifiers are U, converters DAC."""
    return {"V": [f"DAC{name[1:]}"], "E": [f"U{name[1:]}", f"DAC{name[1:]}"]}.get(name[0], [name])


def printed_levels(text):
    """The table of levels: words to columns."""
    lines = text.split("levels at the connectors")[1].split("bound:")[0].splitlines()[1:]
    heads = [head.strip() for head in re.split(r"\s{2,}", lines[0].strip())]
    rows = [re.split(r"\s{2,}", line.strip()) for line in lines[1:] if line.split()[:1] and line.split()[0] in WORDS]
    return {row[0]: dict(zip(heads, row, strict=True)) for row in rows}


def test_ngspice_finds_what_the_solver_finds(designed):
    ngspice = shutil.which("ngspice")
    assert ngspice, "ngspice is missing: `.ci/test conformance` fetches it"
    done = subprocess.run([ngspice, "-b", designed[1] / "circuit.cir"], capture_output=True, text=True, timeout=120)
    found = {name: float(value) for name, value in re.findall(r"^(x\d+) = ([-+.\de]+)$", done.stdout, re.MULTILINE)}
    expected = {name: float(value) for name, value in re.findall(r"^\* expected (x\d+) ([-+.\de]+) ", designed[3], re.MULTILINE)}
    assert len(expected) >= 20 and set(found) == set(expected), done.stdout[-2000:] + done.stderr[-2000:]
    for name, value in expected.items():
        # SPICE adds a picosiemens here and there.
        assert found[name] == pytest.approx(value, rel=1e-6, abs=1e-12), name


def test_levels_are_those_of_the_codes(designed, tmp_path):
    """Codes mean what `channels.json` of a render says: within 0.1 % for the wanted rig, exactly for the one that was designed."""
    source = scripts.write(tmp_path / "second.json", scripts.step(1))
    wanted, made, printed, text = designed
    circuit, table = Circuit(text), printed_levels(printed)
    assert set(table) == WORDS
    for rig, most in ((wanted, 1e-3), (made / "bench.json", 1e-6)):
        succeed("render", source, "--rig", rig, "-o", tmp_path / "out.raw", "--frame-rate", 250, "--clip", "count", "--force")
        channels = {channel["name"]: channel for channel in json.loads(beside(tmp_path / "out.raw", "channels.json").read_text())["channels"]}
        for output, row in table.items():
            place = channels[output]["connector"]
            by_code = int(row["code"]) * place["scale"] + place["offset"]
            assert level(circuit, output) == pytest.approx(by_code, rel=most), (rig.name, output)
    for output, row in table.items():
        assert float(row["circuit"]) == pytest.approx(level(circuit, output), rel=2e-6, abs=1e-5)
        assert abs(float(row["off %"])) <= 0.1


def test_a_thousand_circuits_stay_within_the_bound(designed):
    """Parts drawn here, by another generator and with the tolerances of the parts list."""
    _, made, printed, text = designed
    circuit, table = Circuit(text), printed_levels(printed)
    tolerance = {}
    with (made / "parts.csv").open(newline="") as file:
        for line in csv.DictReader(file):
            for word in line["designators"].split():
                tolerance[word] = float(line["tolerance_percent"] or 0) / 100
    names = {name: tolerance.get(next((word for word in listed(name) if word in tolerance), ""), 0.0) for name, _, _ in circuit.parts}
    assert sum(value > 0 for value in names.values()) > 100
    rng = np.random.default_rng(20261127)
    nominal = {output: level(circuit, output) for output in table}
    worst = dict.fromkeys(table, 0.0)
    for draw in range(1000):
        # Half of the draws stand at the ends of the tolerances, where the bound is reached.
        errors = rng.uniform(-1, 1, len(names)) if draw % 2 else rng.choice([-1, 1], len(names))
        factors = {name: 1 + value * error for (name, value), error in zip(names.items(), errors, strict=True)}
        solved = circuit.solve(factors=factors)
        for output in table:
            if output == "respiration":
                continue
            pins = (output.lower(), "0") if output.lower() in circuit.rows else (f"{output}_sp", f"{output}_sm")
            worst[output] = max(worst[output], abs(1000 * (solved[pins[0]] - solved[pins[1]]).real / nominal[output] - 1))
        if draw < 100:
            worst["respiration"] = max(worst["respiration"], abs(level(circuit, "respiration", factors=factors) / nominal["respiration"] - 1))
    for output, row in table.items():
        bound = float(row["bound %"]) / 100
        assert 0.3 * bound < worst[output] <= bound + 1e-5, (output, worst[output], bound)
        assert float(row["worst draw %"]) / 100 <= bound + 1e-5


def test_a_reading_does_not_depend_on_a_followed_excitation(designed):
    """4.987 V or 5.25 V, direct or of 5 kHz: the same pressure, when the excitation is the converter's reference."""
    wanted, _, _, text = designed
    follows = any(output.get("reference") == "excitation" for output in json.loads(wanted.read_text())["outputs"])
    source = next(name for name, _, _ in Circuit(text).parts if name.startswith("VEXC"))
    per_volt = {}
    for volts in (4.987, 5.25):
        circuit = Circuit(re.sub(rf"^({source} \S+ \S+ DC) \S+", rf"\g<1> {volts}", text, flags=re.MULTILINE))
        per_volt[volts] = level(circuit, "arterial") / volts
    assert (per_volt[5.25] == pytest.approx(per_volt[4.987], rel=1e-9)) == follows
    found = Circuit(text).solve(hz=5000, drive={source: 1.0})
    alternating = 1000 * abs(found["arterial_sp"] - found["arterial_sm"])
    assert (alternating == pytest.approx(abs(per_volt[4.987]), rel=1e-4)) == follows
    # The middle of the signal pair stands in the middle of the excitation, as a bridge's does.
    rest = Circuit(text).solve(drive={source: 5.0})
    middle = (rest["arterial_sp"] + rest["arterial_sm"] - rest["arterial_ep"] - rest["arterial_em"]) / 2
    assert abs(middle) < 0.05


def test_a_meter_reads_what_is_announced(designed, tmp_path):
    """10 Mohm between an electrode and RL; the walk of `calibrate` announces the same."""
    _, made, printed, text = designed
    circuit = Circuit(text.replace("\nVMAINS", "\nRMETER ra rl 1e7\nVMAINS", 1))
    solved = circuit.solve()
    reading = 1000 * (solved["ra"] - solved["rl"]).real
    assert float(printed_levels(printed)["RA"]["on a meter of 10 Mohm"]) == pytest.approx(reading, abs=1e-5)
    lines = succeed("calibrate", made / "bench.json", "--meter-ohm", "10M").stdout.decode().splitlines()
    high = next(line.split() for line in lines if line.split()[:2] == ["RA", "high"])
    assert float(high[3]) == pytest.approx(reading, abs=1.01e-4)


def test_the_element_is_a_resistance_for_a_carrier(designed):
    """Its change for 1 V, at 20 to 100 kHz, alone and between RA and LL in RA's leg."""
    _, _, printed, text = designed
    circuit = Circuit(text)
    gain = next(value for name, nodes, value in circuit.parts if name[0] == "E" and nodes[0] == "z_x")
    part = next(name for name, nodes, _ in circuit.parts if name[0] == "E" and nodes[0] == "z_x")
    rows = {float(line.split()[0]): [float(word) for word in line.split()] for line in printed.split("respiration element")[1].splitlines()[2:5]}
    for khz in (20, 50, 100):
        def impedance(volts, khz=khz):
            solved = circuit.solve(hz=1000 * khz, drive={"VTEST": 1.0}, factors={part: volts / 10 / gain})
            return -1 / solved["I"]["VTEST"]
        base, moved = impedance(0.0), impedance(1.0)
        assert abs(base) == pytest.approx(1000, rel=1e-6)
        assert abs(moved) - abs(base) == pytest.approx(2.0, rel=1e-3)
        assert abs(np.degrees(np.angle(moved))) < 0.1
        assert rows[khz][2] == pytest.approx(abs(moved) - abs(base), abs=1e-4)
        # In the path of two electrodes it is 1 kohm of 1.2 kohm; the rest has a phase, so a little less of the change is seen.
        assert 1.9 < rows[khz][5] <= 2.0 and 1150 < rows[khz][4] < 1350


def test_parts_are_of_standard_rows(designed):
    _, made, _, text = designed
    for name, nodes, value in Circuit(text).parts:
        ours = name[0] in "RC" and not re.match("RL|RG|RK|RISO|CISO", name)
        if ours:
            mantissa = round(value / 10 ** math.floor(math.log10(value) + 1e-9), 6)
            assert mantissa in E96 | E24, (name, nodes, value)
    with (made / "parts.csv").open(newline="") as file:
        listed = [word for line in csv.DictReader(file) for word in line["designators"].split()]
    assert len(listed) == len(set(listed)) and len(listed) > 100
    assert {name for name, _, _ in Circuit(text).parts if re.fullmatch(r"[RC]\d+", name)} <= set(listed)


def test_the_drawing_has_its_parts_and_its_cautions(designed):
    _, made, _, _ = designed
    root = ElementTree.parse(made / "schematic.svg").getroot()
    texts = root.findall(".//{http://www.w3.org/2000/svg}text")
    words = " ".join(text.text for text in texts)
    for word in ("NEVER TO A PERSON", "calibrated meter", "service manual", "isolation barrier", "R121", "R123", "K1", "R1121", "R1301", "DAC101"):
        assert word in words, word
    for text in texts:
        assert 5 < float(text.get("x")) < 415 and 5 < float(text.get("y")) < 292, text.text


def test_the_description_of_the_design_is_a_rig(designed):
    _, made, _, _ = designed
    assert run("rig", "check", made / "bench.json").code == 0
    again = succeed("rig", "circuit", made / "bench.json").stdout.decode()
    assert all(abs(float(row["off %"])) <= 1e-4 for row in printed_levels(again).values())


def test_what_cannot_be_built_is_said(tmp_path):
    document = json.loads(RIGS["bench"].read_text())
    path = tmp_path / "rig.json"

    def changed(index, **values):
        copy = json.loads(json.dumps(document))
        copy["outputs"][index] |= values
        path.write_text(json.dumps(copy))
        return path

    assert_refused(run("rig", "circuit", changed(0, attenuation=0.5), "-o", tmp_path / "x"), "RA", "below 1")
    assert_refused(run("rig", "circuit", changed(12, ohm_per_v=400), "-o", tmp_path / "x"), "respiration", "ohm_per_v")
    # 53 kohm is no standard value, and the load is heavy.
    far = run("rig", "circuit", changed(0, source_ohm=53_500, load_ohm=100_000))
    assert far.code == 1 and "RA is" in far.stderr and "0.1 %" in far.stderr
    assert set(files_below(tmp_path)) == {"rig.json"}
    made = tmp_path / "made"
    outcome = succeed("rig", "circuit", changed(1, correction={"gain": 1.01}), "-o", made)
    assert "LA has no correction" in outcome.stderr
    assert "correction" not in json.loads((made / "bench.json").read_text())["outputs"][1]
    assert_refused(run("rig", "circuit", path, "-o", made), "--force")
    assert_refused(run("rig", "circuit", made / "bench.json", "-o", made, "--force"), "input")


def test_ten_commands_lead_from_a_clone_to_a_rig():
    """Those of the guide, in its order; the clone and the installation are this tree and its program."""
    page = (ROOT / "docs/circuit.md").read_text(encoding="utf-8")
    commands = page.split("in ten commands")[1].split("```")[1].splitlines()[1:]
    assert len(commands) == 10
    assert [command.split()[:2] for command in commands[:3]] == [["git", "clone"], ["cd", "pulsewright"], ["cargo", "install"]]
    folder = ROOT / "target/first-rig"
    shutil.rmtree(folder, ignore_errors=True)
    for command in commands[3:]:
        words = [str(PROGRAM) if word == "pulsewright" else word for word in command.split()]
        done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=900)
        assert done.returncode == 0, f"{command}\n{done.stderr[-2000:]}"
        if words[0] == ".ci/firmware":
            image = Path(done.stdout.splitlines()[-1]) / "thumbv7em-none-eabihf/release/pulsewright-rig"
            assert image.read_bytes()[:4] == b"\x7fELF"
    made = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.stat().st_size > 100}
    assert {"front-end/schematic.svg", "front-end/parts.csv", "front-end/circuit.cir", "front-end/bench.json", "bench.pwr", "ward-round.pwi", "ward-round.raw"} <= made
