"""Every reader of foreign text: a sound input, the command that reads it, and what of a changed input is no input any more."""

from __future__ import annotations

import json
import shutil
import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import jsonschema
import scripts
from program import PROGRAM, ROOT, succeed

from malformed import mutations

EXAMPLES = ROOT / "examples"
PLAN = {
    "version": 1, "title": "Invented plan", "notes": "Invented data.", "seed": 3, "kit": ["cable"], "prepare": ["no person"],
    "steps": [{"name": "rate", "duration_s": "hold", "rate_bpm": 80, "expect": {"readings": ["heart-rate", "arterial-mean"], "silent": ["asystole"]}}],
}
ANSWERS = "INV-7\ntype\nserial\n1.0\nplace\nWO-3\n\n\n\n\n\n80\n96\n\n\nA. Invented\n"
COHORT = {
    "version": 1, "duration_s": 2, "channels": ["II"],
    "people": {
        "seed": 3,
        "groups": [{"name": "a", "weight": 2, "rhythm": "sinus", "draw": {"rate_bpm": {"normal": {"mean": 72, "sd": 9, "min": 50, "max": 100}}}}, {"rhythm": ["sinus", "asystole"], "body": ["adult"]}],
        "draw": {
            "person.age_years": {"uniform": [20, 80]}, "ecg.gain": {"log_normal": {"median": 1, "sigma": 0.2, "follows": {"person.age_years": {"slope": 0.001, "from": 50}}}},
            "life": {"choice": [["resting", 1], [0, 2]]}, "ecg.qtc_ms": {"by_body": {"adult": 400}},
        },
        "correlation": [{"of": ["ecg.gain", "rate_bpm"], "matrix": [[1, 0.5], [0.5, 1]]}],
    },
}
SUITE = {
    "version": 1, "duration_s": 4, "score": {"learning_s": 0},
    "blocks": [{"rhythm": ["sinus"], "rate_bpm": [75], "frame_rate_hz": [250], "seed": {"from": 1, "count": 2}}],
}
OWN_BODY = {
    "version": 1, "extends": "child", "name": "A body", "age": "neonate", "resting_bpm": 100,
    "settings": {"ecg": {"pr_ms": 120}, "arterial": {"systolic_mmhg": 90}},
    "complexes": {"normal": {
        "qrs_ms": 72, "qt_ms": 300,
        "qrs": [{"at_ms": 0, "rise_ms": 45, "hold_ms": 0, "fall_ms": 45, "xyz_mv": [0.5, 0.9, 0.1]}],
        "t": {"at_ms": 10, "rise_ms": 120, "fall_ms": 110, "xyz_mv": [0.2, 0.2, -0.1]},
        "st": {"at_ms": -20, "rise_ms": 60, "fall_ms": 120, "xyz_mv": [0, 0, 0]},
        "tail": {"at_ms": 150, "rise_ms": 80, "fall_ms": 150, "xyz_mv": [0.001, 0, 0]},
    }},
    "p_waves": {"sinus-node": [{"at_ms": 0, "rise_ms": 40, "fall_ms": 40, "xyz_mv": [0.1, 0.1, 0]}]},
}
OWN_RHYTHM = {"version": 1, "extends": "atrial-flutter", "name": "Invented flutter", "min_bpm": 40, "max_bpm": 200}
WHO = ["--signer", "A. Invented", "--meaning", "reviewed"]
COMMANDS = "# invented\nrate 90\npressure 120/80\nset ecg.gain=2\nrhythm atrial-fibrillation\nbeat left-ventricular\nbreaths 12\nhelp\nnext\nhold\n"
MOST_DEPTH = 64
"""Deepest nesting of a document, docs/script.md."""


@dataclass(frozen=True)
class Reader:
    """A way in for foreign text."""

    sound: bytes
    """An input that is read."""
    name: str
    """The file, in the command's folder; `stdin` is what it reads from standard input."""
    words: list[object]
    """The command."""
    change: tuple[Callable, ...]
    writes: tuple[str, ...] = ()
    """Files that it leaves when it does its work."""
    beside: tuple[Path, ...] = ()
    """Files that are copied into its folder."""
    broken: Callable[[bytes], bool] = lambda text: False
    """Whether an input is certainly none; judged without the program."""
    sound_code: int = 0
    in_arguments: bool = False
    """The text is an argument, in place of the word `TEXT`."""
    until: str = ""
    """A message after which the command is interrupted, since it goes on until then."""


def no_duplicates(pairs):
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a member twice")
    return found


def no_constant(name):
    raise ValueError(name)


def depth(text: str) -> int:
    """How deep brackets nest, those in strings left out."""
    deep = deepest = 0
    quoted = escaped = False
    for c in text:
        if escaped:
            escaped = False
        elif quoted:
            escaped, quoted = c == "\\", c != '"'
        elif c == '"':
            quoted = True
        elif c in "[{":
            deep += 1
            deepest = max(deepest, deep)
        elif c in "]}":
            deep -= 1
    return deepest


def document(text: bytes):
    """A JSON document as the standard library reads it; an error for all that RFC 8259 does not allow, and for a member twice."""
    text = text.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    if depth(text) > MOST_DEPTH:
        raise ValueError("too deep")
    return json.loads(text, object_pairs_hook=no_duplicates, parse_constant=no_constant)


def no_document(text: bytes) -> bool:
    try:
        document(text)
    except (ValueError, RecursionError):
        return True
    return False


def not_by(schema: dict) -> Callable[[bytes], bool]:
    """No document, or none that the schema allows."""
    validator = jsonschema.Draft202012Validator(schema)
    return lambda text: no_document(text) or not validator.is_valid(document(text))


def no_own(kind: str, script_schema: dict) -> Callable[[bytes], bool]:
    """No document, or none that the schema of scripts allows as this kind, beside its version."""
    broken = not_by({"$schema": script_schema["$schema"], "$defs": script_schema["$defs"], "$ref": f"#/$defs/{kind}"})

    def judge(text: bytes) -> bool:
        if no_document(text) or not isinstance(document(text), dict):
            return True
        own = document(text)
        return own.pop("version", None) != 1 or broken(json.dumps(own).encode())

    return judge


def other_than(sound: bytes) -> Callable[[bytes], bool]:
    """Another document than this, or none: layout and the way a number is written do not count."""
    value = document(sound)
    return lambda text: no_document(text) or document(text) != value


def changed(sound: bytes) -> Callable[[bytes], bool]:
    """Other bytes than these."""
    return lambda text: text != sound


def no_text(text: bytes) -> bool:
    """Neither UTF-8 nor anything but white space."""
    try:
        return not text.removeprefix(b"\xef\xbb\xbf").decode("utf-8").strip()
    except UnicodeDecodeError:
        return True


def annotations() -> bytes:
    """An annotation file of four beats: words of 16 bits, the code in the upper 6, then 0."""
    return struct.pack("<5H", *(1 << 10 | frames for frames in (100, 360, 360, 360)), 0)


def readers(folder: Path) -> dict[str, Reader]:
    """All of them, with what they read made in `folder`."""
    J, T, C = mutations.json_text, mutations.any_text, mutations.table
    document_, lines = (T, J, J), (T,)
    schemas = {kind: json.loads(succeed("schema", kind).stdout) for kind in ("script", "rig")}

    script = scripts.write(folder / "script.json", scripts.step(3, rate_bpm=72), scripts.step(2, "atrial-fibrillation", name="f"))
    script_text = script.read_bytes()
    plan = folder / "plan.json"
    plan.write_text(json.dumps(PLAN))
    rig = folder / "rig.json"
    shutil.copy(EXAMPLES / "rig" / "bench.json", rig)
    succeed("session", plan, "-o", folder / "record.json", stdin=ANSWERS.encode())
    record = (folder / "record.json").read_bytes()
    table = b"item,value,priority,heard,skip,remark\n1.silent-1,,,no,,\nabout.asset,INV-7,,,,\nabout.date,2026-11-25,,,,\nkit.1,back,,,,\n0.prepare-1,yes,,,,\n1.heart-rate,80,,,,fine\n1.arterial-mean,,,,no cable,\nsigned.done,A. Invented,,,,\n"
    cut_off(plan, folder)
    draft = (folder / "draft.json.draft").read_bytes()
    for signal in ("truth.wav", "database.hea", "european.edf"):
        succeed("render", script, "-o", folder / signal, "--channels", "II")
    beats, manifest = folder / "truth.beats.csv", folder / "truth.manifest.json"
    header, atr = folder / "database.hea", folder / "database.atr"
    times = b"".join(line.split(b",")[0] + b"\n" for line in beats.read_bytes().splitlines() if not line.startswith(b"#"))
    test = folder / "test.csv"
    test.write_bytes(times)
    as_json = json.dumps({"beats": [{"time_s": float(time)} for time in times.split()[1:]]}).encode()
    limits = b'{"gross": {"min": {"se": 50}, "max": {"rr_intact_rms_ms": 500}}, "each": {"min": {"se": 2}}}'
    readings = b"reading,start_s,end_s,expected,tolerance,tolerance_percent,settle_s\nheart_rate_bpm,0,30,60,2,,10\nsystolic_mmhg,0,60,120,4,,15\n"
    shown = b"time_s,heart_rate_bpm,systolic_mmhg\n" + b"".join(b"%d,60,120\n" % t for t in range(0, 61, 4))
    alarms = b"alarm,time_s,within_s,end_s,priority\nasystole,60,10,120,high\ntachycardia,200,10,260,medium\n"
    log = b'[{"time_s": 66.5, "alarm": "asystole", "priority": "high"}, {"time_s": 205, "alarm": "tachycardia", "priority": "medium"}]'
    episodes = b"kind,start_s,end_s\nAF,1,2\nAF,3,4\n"
    for name, text in {"readings": readings, "shown": shown, "alarms": alarms, "log": log, "episodes": episodes}.items():
        (folder / name).with_suffix(".json" if name == "log" else ".csv").write_bytes(text)
    own = json.dumps(OWN_RHYTHM).encode()
    uses_own = {"version": 1, "rhythms": {"own": "own.json"}, "steps": [{"duration_s": 2, "rhythm": "own"}]}
    (folder / "uses-own.json").write_text(json.dumps(uses_own))
    own_body = json.dumps(OWN_BODY).encode()
    uses_own = {"version": 1, "bodies": {"own": "own.json"}, "steps": [{"duration_s": 2, "body": "own"}]}
    (folder / "uses-own-body.json").write_text(json.dumps(uses_own))
    succeed("render", "--rhythm", "sinus", "--duration", "6s", "--channels", "II", "--frame-rate", "100", "--no-truth", "-o", folder / "recording.csv")
    recording = (folder / "recording.csv").read_bytes()
    led = succeed("stream", script, "--live", "--fast", "--duration", "1s", "--channels", "II", "--log", folder / "led.json", stdin=b"rate 90\nbeat left-ventricular\n")
    assert led.stdout
    log_of_stream = (folder / "led.json").read_bytes()
    lists = b'{"favourites": ["asystole", "torsades"], "recent": ["sinus", "asystole"]}'
    uses_beats = {"table": "beats.csv", "annotations": {"file": "beats.atr", "hz": 360}}
    for name, series in uses_beats.items():
        (folder / f"uses-{name}.json").write_text(json.dumps({"version": 1, "steps": [{"duration_s": 2, "series": series}]}))
    recorded = {"version": 1, "duration_s": 4, "score": {"learning_s": 0}, "blocks": [{"recordings": [{"record": "database.hea", "channels": {"II": "II"}}]}]}
    (folder / "recorded.json").write_text(json.dumps(recorded))
    beside_recorded = [(folder / name, "in.json" if name == "recorded.json" else name) for name in ("recorded.json", "database.hea", "database.dat", "database.atr")]
    console = ["console", "--no-open", "--folder", "kept"]
    succeed("report", "--new-key", folder / "key.pem")
    key, public = folder / "key.pem", folder / "key.pem.pub"
    succeed("report", folder / "record.json", "--sign", key, *WHO)
    signatures = (folder / "record.json.signatures").read_bytes()
    cohort = json.dumps(COHORT).encode()
    (folder / "cohort.json").write_bytes(cohort)
    succeed("cohort", folder / "cohort.json", "-n", 2, "-o", folder / "cohort")
    earlier = succeed("score", "--learning-s", "0", beats, test, "--format", "json").stdout
    suite = json.dumps(SUITE).encode()
    (folder / "suite.json").write_bytes(suite)
    detector = ["--", "/bin/cp", test, "{beats-out}"]
    made = folder / "made"
    succeed("suite", folder / "suite.json", "-o", made, *detector)
    reads_answers = ["--", "/bin/cp", "answer", "{beats-out}"]
    score = ["score", "--learning-s", "0"]

    return {
        "script": Reader(script_text, "in.json", ["check", "in.json"], document_, broken=not_by(schemas["script"])),
        "script, rendered": Reader(
            script_text, "in.json", ["render", "in.json", "-o", "out.wav", "--duration", "1s", "--channels", "II", "--no-truth"], document_,
            ("out.wav", "out.channels.json", "out.manifest.json"), broken=not_by(schemas["script"]),
        ),
        "script, from standard input": Reader(script_text, "stdin", ["compile", "-", "-o", "out.pwi"], document_, ("out.pwi",), broken=not_by(schemas["script"])),
        "plan": Reader(plan.read_bytes(), "in.json", ["worksheet", "in.json", "-o", "out.html"], document_, ("out.html",), broken=not_by(schemas["script"])),
        "rig": Reader(rig.read_bytes(), "in.json", ["rig", "check", "in.json"], document_, broken=not_by(schemas["rig"])),
        "rig, rendered": Reader(
            rig.read_bytes(), "in.json", ["render", script, "--rig", "in.json", "--clip", "count", "-o", "out.raw", "--duration", "1s", "--no-truth"], document_,
            ("out.raw", "out.channels.json", "out.manifest.json"), broken=not_by(schemas["rig"]),
        ),
        "rig, calibrated": Reader(
            rig.read_bytes(), "in.json", ["calibrate", "in.json", "--meter", "invented", "--accept", "--reading", "RA=-4.69/4.71"], document_, broken=not_by(schemas["rig"]),
        ),
        "record": Reader(
            record, "in.json", ["report", "in.json", *(word for end in ("html", "json", "csv") for word in ("-o", f"out.{end}"))], document_,
            ("out.html", "out.json", "out.csv"), broken=other_than(record),
        ),
        "record, earlier": Reader(record, "in.json", ["report", folder / "record.json", "--earlier", "in.json", "-o", "out.html"], document_, ("out.html",), broken=other_than(record)),
        "record, a table": Reader(
            table, "in.csv", ["report", "in.csv", "--script", plan, *(word for end in ("html", "json", "csv") for word in ("-o", f"out.{end}"))], (T, C, C),
            ("out.html", "out.json", "out.csv"), broken=no_text,
        ),
        "draft": Reader(draft, "out.json.draft", ["session", plan, "-o", "out.json"], (T, lines_of_json), sound_code=2),
        "answers of a session": Reader(ANSWERS.encode(), "stdin", ["session", plan, "-o", "out.json"], lines, ("out.json", "out.json.draft", "out.played.json"), sound_code=0),
        "limits": Reader(limits, "in.json", [*score, beats, test, "--limits", "in.json"], document_, broken=no_document),
        "reference, a table": Reader(b"\n".join(line for line in beats.read_bytes().splitlines() if not line.startswith(b"#")) + b"\n", "in.csv", [*score, "in.csv", test], (T, C, C), broken=no_text),
        "reference, annotations": Reader(atr.read_bytes(), "in.atr", [*score, "in.atr", test, "--reference-rate-hz", "500"], lines, broken=lambda text: not text),
        "reference, a header beside": Reader(header.read_bytes(), "in.hea", [*score, "in.atr", test], lines, beside=((atr, "in.atr"),), broken=lambda text: not text.strip(b" \t\r\n\0")),
        "reference, a manifest beside": Reader(
            manifest.read_bytes(), "truth.manifest.json", [*score, "truth.beats.csv", test], document_, beside=((beats, beats.name),), broken=no_document,
        ),
        "a signal beside its truth, WAV": Reader(
            (folder / "truth.wav").read_bytes(), "truth.wav", [*score, "truth.beats.csv", test], (T,), beside=((beats, beats.name), (manifest, manifest.name)),
            broken=changed((folder / "truth.wav").read_bytes()),
        ),
        "a signal beside its truth, record": Reader(
            (folder / "database.dat").read_bytes(), "database.dat", [*score, "database.beats.csv", test], (T,),
            beside=tuple((folder / name, name) for name in ("database.beats.csv", "database.manifest.json", "database.hea", "database.atr")),
            broken=changed((folder / "database.dat").read_bytes()),
        ),
        "a signal beside its truth, EDF+": Reader(
            (folder / "european.edf").read_bytes(), "european.edf", [*score, "european.beats.csv", test], (T,),
            beside=tuple((folder / name, name) for name in ("european.beats.csv", "european.manifest.json")), broken=changed((folder / "european.edf").read_bytes()),
        ),
        "rhythm of one's own": Reader(own, "own.json", ["check", "in.json"], document_, beside=((folder / "uses-own.json", "in.json"),), broken=no_own("rhythm", schemas["script"])),
        "list of beats, a table": Reader(
            b"at_s,code\n0.8,N\n1.6,V\n2.8,N\n", "beats.csv", ["check", "in.json"], (T, C, C), beside=((folder / "uses-table.json", "in.json"),), broken=no_text,
        ),
        "list of beats, annotations": Reader(annotations(), "beats.atr", ["check", "in.json"], lines, beside=((folder / "uses-annotations.json", "in.json"),), broken=lambda text: not text),
        **{
            f"recording, its {what}": Reader(
                (folder / name).read_bytes(), name, ["suite", "in.json", "--list"], lines, beside=tuple(pair for pair in beside_recorded if pair[1] != name), broken=lambda text: not text,
            )
            for what, name in (("header", "database.hea"), ("signal", "database.dat"), ("annotations", "database.atr"))
        },
        "body of one's own": Reader(own_body, "own.json", ["check", "in.json"], document_, beside=((folder / "uses-own-body.json", "in.json"),), broken=no_own("body", schemas["script"])),
        "a recording to fit": Reader(recording, "in.csv", ["fit", "in.csv", "-o", "out.json"], (T,), ("out.json",)),
        "log of a stream": Reader(
            log_of_stream, "in.json", ["render", "in.json", "-o", "out.wav", "--duration", "1s", "--channels", "II", "--no-truth"], document_,
            ("out.wav", "out.channels.json", "out.manifest.json"), broken=not_by(schemas["script"]),
        ),
        "plan of a console": Reader(plan.read_bytes(), "in.json", [*console, "in.json"], document_, ("kept",), broken=not_by(schemas["script"]), until="console: http"),
        "lists of a console": Reader(lists, "kept/console.json", console, document_, ("kept",), broken=no_document, until="console: http"),
        "signatures": Reader(
            signatures, "record.json.signatures", ["report", "record.json", "--verify", public], document_, beside=((folder / "record.json", "record.json"),), broken=other_than(signatures),
        ),
        "public key": Reader(public.read_bytes(), "in.pub", ["report", folder / "record.json", "--verify", "in.pub"], lines, broken=no_text),
        "private key": Reader(key.read_bytes(), "in.pem", ["report", "record.json", "--sign", "in.pem", *WHO], lines, ("record.json.signatures",),
                              beside=((folder / "record.json", "record.json"),), broken=no_text),
        "detections, a table": Reader(times, "in.csv", [*score, beats, "in.csv", "--beats", "out.csv", "--write", "out.xml"], (T, C), ("out.csv", "out.xml")),
        "detections, JSON": Reader(as_json, "in.json", [*score, beats, "in.json", "--format", "json"], document_, broken=no_document),
        "detections, annotations": Reader(annotations(), "in.qrs", [*score, beats, "in.qrs", "--test-rate-hz", "360"], lines),
        "episodes": Reader(episodes, "in.csv", [*score, beats, test, "--reference-episodes", folder / "episodes.csv", "--test-episodes", "in.csv"], (T, C)),
        "readings, expected": Reader(readings, "in.csv", ["score", "--what", "readings", "in.csv", folder / "shown.csv"], (T, C, C), broken=no_text),
        "readings, shown": Reader(shown, "in.csv", ["score", "--what", "readings", folder / "readings.csv", "in.csv", "--format", "junit"], (T, C)),
        "alarms, expected": Reader(alarms, "in.csv", ["score", "--what", "alarms", "in.csv", folder / "log.json"], (T, C, C), broken=no_text),
        "alarms, a log": Reader(log, "in.json", ["score", "--what", "alarms", folder / "alarms.csv", "in.json", "--format", "csv"], document_, broken=no_document),
        "suite plan": Reader(suite, "in.json", ["suite", "in.json", "--list"], document_, broken=no_document),
        "suite folder": Reader(
            (made / "suite.json").read_bytes(), "part/suite.json", ["suite", folder / "suite.json", "-o", "out", "--merge", "part"], document_, broken=no_document,
            beside=((made / "answers", "part/answers"),), writes=("out",),
        ),
        "suite answer": Reader(times, "answer", ["suite", folder / "suite.json", "-o", "out", "--jobs", "1", *reads_answers], (T, C), writes=("out",), sound_code=0),
        "cohort plan": Reader(cohort, "in.json", ["cohort", "in.json", "-n", "3", "--list"], document_, broken=no_document),
        "cohort folder": Reader(
            (folder / "cohort" / "cohort.json").read_bytes(), "out/cohort.json", ["cohort", folder / "cohort.json", "-n", "2", "-o", "out"], document_, broken=no_document, writes=("out",),
        ),
        "earlier report": Reader(earlier, "in.json", [*score, beats, test, "--against", "in.json", "--max-loss", "se=1", "--format", "markdown"], document_, broken=no_document),
        "commands of a stream": Reader(COMMANDS.encode(), "stdin", ["stream", script, "--live", "--duration", "200ms", "--log", "out.json"], lines,
                                       ("out.json", "out.steps.csv", "out.readings.csv", "out.alarms.csv")),
        "readings of a calibration": Reader(
            b"output,low,high\nRA,-4.69,4.71\nLA,-4.69 mV,4.71\n", "in.csv", ["calibrate", rig, "--check", "--accept", "--meter", "invented", "--readings", "in.csv"], (T, C, C), sound_code=1,
        ),
        "reading of a calibration": Reader(b"RA=-4.69/4.71", "argument", ["calibrate", rig, "--check", "--accept", "--meter", "invented", "--reading", "TEXT"], lines, in_arguments=True, sound_code=1),
        "setting": Reader(b"ecg.gain=2", "argument", ["render", "--rhythm", "sinus", "--duration", "1s", "--channels", "II", "--no-truth", "-o", "out.csv", "--set", "TEXT"], lines,
                          ("out.csv", "out.channels.json", "out.manifest.json"), in_arguments=True),
        "name of a rhythm": Reader(b"sinus", "argument", ["plot", "--duration", "1s", "--channels", "II", "--rhythm", "TEXT"], lines, in_arguments=True),
        "name of a file": Reader(b"mine.json", "argument", ["check", "TEXT"], lines, in_arguments=True, beside=((script, "mine.json"),)),
        "journal of a set": Reader(journal(), f".pulsewright-{'0' * 16}.journal", ["plot", script, "-o", "out.svg"], document_, ("out.svg",), beside=((script, "mine.json"),)),
        "holder of a lock": Reader(b"4711", f".pulsewright-{'0' * 16}.lock", ["plot", script, "-o", "out.svg"], lines, ("out.svg",)),
    }


def lines_of_json(sound: bytes, chance) -> bytes:
    """One line of a draft changed as a document."""
    lines = sound.splitlines()
    line = chance.randrange(len(lines))
    lines[line] = mutations.json_text(lines[line], chance).replace(b"\n", b" ")
    return b"\n".join(lines) + b"\n"


def journal() -> bytes:
    """The journal of a set that was killed before its first name."""
    name = lambda text: {"Unix": list(text.encode())}  # noqa: E731
    part = f".pulsewright-{'0' * 16}-0.partial"
    return json.dumps({"entries": [{"name": name("other.csv"), "staged": name(part), "backup": None, "sha256": "0" * 64}]}).encode()


def cut_off(plan: Path, folder: Path) -> None:
    """Leaves a draft of a session whose input ended."""
    from program import run

    left = run("session", plan, "-o", folder / "draft.json", stdin=b"".join(ANSWERS.encode().splitlines(keepends=True)[:12]))
    assert left.code == 2 and "left before the end" in left.stderr, left


def command(reader: Reader, text: bytes) -> list[str]:
    """The words of a command that reads this text."""
    word = text.decode("utf-8", "surrogateescape")
    return [str(PROGRAM), *(word if part == "TEXT" else str(part) for part in reader.words)]
