"""Malformed inputs of every reader, made from sound ones: refused in words, or read where they are still sound.

No panic; no byte in the output that does anything on a terminal, and none in the files that are written; exit code 1 or 2,
and 0 only where the input is still one; less than 2 s of a processor and 200 MB; nothing left of a command that was refused.
PULSEWRIGHT_MALFORMED=all tries 6000 of them; else a tenth.
"""

from __future__ import annotations

import csv
import io
import os
import random
import re
import shutil
from pathlib import Path

import pytest
from malformed.readers import command, readers
from program import measure_each

ALL = os.environ.get("PULSEWRIGHT_MALFORMED") == "all"
WANTED = 6000 if ALL else 600
MOST_S = 2.0
MOST_BYTES = 200 << 20
LONGEST_ARGUMENT = 100_000
"""The system takes 128 KiB of one argument."""

NAMES = (
    "script", "script, rendered", "script, from standard input", "plan", "rig", "rig, rendered", "rig, calibrated", "record", "record, earlier",
    "record, a table", "draft", "answers of a session", "limits", "reference, a table", "reference, annotations", "reference, a header beside",
    "reference, a manifest beside", "a signal beside its truth, WAV", "a signal beside its truth, record", "a signal beside its truth, EDF+",
    "rhythm of one's own", "body of one's own", "a recording to fit", "list of beats, a table", "list of beats, annotations", "recording, its header", "recording, its signal", "recording, its annotations", "log of a stream", "plan of a console", "lists of a console", "signatures", "public key", "private key", "detections, a table", "detections, JSON", "detections, annotations", "episodes", "readings, expected",
    "readings, shown", "alarms, expected", "alarms, a log", "suite plan", "suite folder", "suite answer", "cohort plan", "cohort folder", "earlier report", "commands of a stream",
    "readings of a calibration", "reading of a calibration", "setting", "name of a rhythm", "name of a file", "journal of a set", "holder of a lock",
)
EACH = -(-WANTED // len(NAMES))
BINARY = ("out.wav", "out.raw", "out.pwi")

UNFIT = re.compile(
    # Controls but the line's end and the tab; line and paragraph separators; the directional characters of Unicode Standard Annex 9;
    # the byte-order mark; tags.
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff\U000e0000-\U000e007f]"
)


@pytest.fixture(scope="module")
def all_readers(tmp_path_factory):
    return readers(tmp_path_factory.mktemp("sound"))


def make(reader, text: bytes, folder: Path) -> dict:
    """The command that reads this text, in a folder with what it needs."""
    folder.mkdir()
    for source, name in reader.beside:
        (folder / name).parent.mkdir(exist_ok=True)
        (shutil.copytree if source.is_dir() else shutil.copy)(source, folder / name)
    if not reader.in_arguments:
        (folder / reader.name).parent.mkdir(exist_ok=True)
        (folder / reader.name).write_bytes(text)
    return {"words": command(reader, text), "folder": str(folder), "until": reader.until}


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()} - {"stdin", "stdout", "stderr"}


def unfit(text: bytes) -> str | None:
    """The first thing in a text that no terminal is to get, and what stands around it."""
    try:
        readable = text.decode("utf-8")
    except UnicodeDecodeError as error:
        return f"not UTF-8: {error}"
    found = UNFIT.search(readable)
    return found and repr(readable[max(0, found.start() - 30) : found.end() + 30])


def cells_that_calculate(text: bytes) -> list[str]:
    """Cells of a table that a spreadsheet would take for a formula (OWASP, "CSV Injection", from memory)."""
    cells = [cell for row in csv.reader(io.StringIO(text.decode())) for cell in row]
    return [cell for cell in cells if cell.strip()[:1] in tuple("=+-@") and not re.fullmatch(r"[-+]?[\d.,]+([eE][-+]?\d+)?", cell.strip())]


def judge(reader, text: bytes, folder: Path, before: set[str], result) -> str | None:
    """Faults in the way a command took a text."""
    code, seconds, size = result
    samples = reader.words[0] == "stream"
    stdout, stderr = (folder / "stdout").read_bytes(), (folder / "stderr").read_bytes()
    if code not in (0, 1, 2) or b"panicked" in stderr or b"RUST_BACKTRACE" in stderr:
        return f"exit {code}: {stderr[-300:]!r}"
    if code == 0 and reader.broken(text):
        return "taken for a sound input"
    if code == 2 and not stderr.strip():
        return "refused without a word"
    if b"(os error" in stdout + stderr:
        return f"a number of the system: {stderr[-300:]!r}"
    # A stream answers each command.
    if len(stderr) > 20_000 and not samples:
        return f"{len(stderr)} bytes of messages"
    if bad := unfit(stderr) or (None if samples else unfit(stdout)):
        return f"on a terminal: {bad}"
    if b"\npassed: 99 passed" in b"\n" + stderr + (b"" if samples else stdout):
        return "a line of ours can be forged"
    if seconds >= MOST_S or size >= MOST_BYTES:
        return f"{seconds:.1f} s, {size >> 20} MB"
    now = files(folder)
    if code == 2 and reader.words[0] != "suite" and "session" != reader.words[0] and now - before:
        return f"left {now - before}"
    # A lock or a journal that was changed by hand is not followed, and stays.
    if hidden := [name for name in now - {reader.name} if name.startswith(".pulsewright-")]:
        return f"left {hidden}"
    if strangers := now - before - set(reader.writes):
        return f"wrote {strangers}"
    for name in (name for name in reader.writes if name in now and (folder / name).is_file() and name not in BINARY):
        content = (folder / name).read_bytes()
        if bad := unfit(content):
            return f"in {name}: {bad}"
        if name.endswith(".csv") and (bad := cells_that_calculate(content)):
            return f"in {name}: {bad[:3]}"
        if name.endswith(".html") and reader.words[0] == "report" and re.search(rb"<script|<meta http-equiv=refresh|</style><h1>", content):
            return f"in {name}: markup of the input"
    return None


@pytest.mark.parametrize("name", NAMES)
def test_malformed_inputs_are_refused_in_words(tmp_path, all_readers, name, record_property):
    reader = all_readers[name]
    texts = [reader.sound]
    for index in range(EACH):
        chance = random.Random(f"{name} {index}")
        text = reader.change[index % len(reader.change)](reader.sound, chance)
        if reader.in_arguments:
            text = text.replace(b"\0", b"")[:LONGEST_ARGUMENT]
        texts.append(text)
    jobs = [make(reader, text, tmp_path / str(index)) for index, text in enumerate(texts)]
    before = [files(Path(job["folder"])) for job in jobs]
    results = measure_each(jobs)
    assert results[0][0] == reader.sound_code, (tmp_path / "0" / "stderr").read_text()
    if name == "commands of a stream":
        said = (tmp_path / "0" / "stderr").read_text()
        assert "s: rate 90" in said and "s: pressure 120/80" in said, f"the commands were not read: {said}"
    codes = {code: sum(result[0] == code for result in results) for code in (0, 1, 2)}
    wrong = []
    for index, (text, job, there, result) in enumerate(zip(texts, jobs, before, results, strict=True)):
        if why := judge(reader, text, Path(job["folder"]), there, result):
            wrong.append(f"{index}: {why}\n    {text[:150]!r} ({len(text)} bytes)")
    assert not wrong, f"{len(wrong)} of {len(texts)}:\n" + "\n".join(wrong[:12])
    slowest, largest = max(result[1] for result in results), max(result[2] for result in results)
    record_property("counts", f"malformed {name}: {EACH} inputs, exit {codes}; at most {slowest:.2f} s and {largest >> 20} MB")
    shutil.rmtree(tmp_path)


def test_every_reader_is_tried(all_readers):
    assert set(NAMES) == set(all_readers) and EACH * len(NAMES) >= WANTED
