"""Scripts that can't be played: one clear refusal, exit code 2, nothing written."""

from __future__ import annotations

import json
import random
import re
import resource

import pytest
import scripts
from program import assert_refused, files_below, render, run

GOOD = scripts.document(
    scripts.step(5, rate_bpm=72, arterial={"systolic_mmhg": 120, "diastolic_mmhg": 80}, name="rest"),
    scripts.step(5, "ventricular-tachycardia", rate_bpm=180),
)
GOOD_TEXT = json.dumps(GOOD, indent=1).encode()


def one_step(**settings) -> bytes:
    """A script of one step with these settings over a good one."""
    return json.dumps(scripts.document({"duration_s": 5, "rhythm": "sinus", **settings})).encode()


def raw_rate(text: str) -> bytes:
    """A script whose rate is this raw text, JSON or not."""
    return b'{"version": 1, "steps": [{"duration_s": 5, "rhythm": "sinus", "rate_bpm": %s}]}' % text.encode()


# The mistake, the bytes of the script, and words that its message must have.
WRONG: dict[str, tuple[bytes, tuple[str, ...]]] = {
    "rate of zero": (raw_rate("0"), ("rate_bpm",)),
    "negative rate": (raw_rate("-70"), ("rate_bpm",)),
    "rate of 10 000": (raw_rate("10000"), ("rate_bpm",)),
    "rate beyond single precision": (raw_rate("1e40"), ("rate_bpm",)),
    "rate beyond double precision": (raw_rate("1e400"), ()),
    "rate not a number": (raw_rate("NaN"), ()),
    "rate infinite": (raw_rate("-Infinity"), ()),
    "rate null": (raw_rate("null"), ("rate_bpm",)),
    "rate a text": (raw_rate('"72"'), ("rate_bpm",)),
    "rate a list": (raw_rate("[72]"), ("rate_bpm",)),
    "rate of a thousand digits": (raw_rate("7" * 1000), ()),
    "rate outside the rhythm's": (one_step(rhythm="ventricular-tachycardia", rate_bpm=60), ("100",)),
    "duration of zero": (one_step(duration_s=0), ("duration_s",)),
    "negative duration": (one_step(duration_s=-1), ("duration_s",)),
    "duration too short to play": (one_step(duration_s=1e-9), ("duration_s",)),
    "duration longer than time": (one_step(duration_s=1e40), ("duration_s",)),
    "duration a text": (one_step(duration_s="5"), ("duration_s",)),
    "unknown key": (one_step(rate_bmp=72), ("rate_bmp", "rate_bpm")),
    "unknown key at the top": (json.dumps({**GOOD, "sed": 4}).encode(), ("sed", "seed")),
    "unknown key in a group": (one_step(arterial={"sistolic_mmhg": 120}), ("sistolic_mmhg", "systolic_mmhg")),
    "unknown rhythm": (one_step(rhythm="sinsu"), ("sinsu", "sinus")),
    "unknown body": (one_step(body="neonat"), ("neonat", "neonate")),
    "systolic below diastolic": (one_step(arterial={"systolic_mmhg": 60, "diastolic_mmhg": 80}), ("systolic", "diastolic")),
    "group a number": (one_step(arterial=120), ("arterial",)),
    "no steps": (json.dumps(scripts.document()).encode(), ("steps",)),
    "steps missing": (b'{"version": 1}', ("steps",)),
    "steps a dictionary": (b'{"version": 1, "steps": {}}', ("steps",)),
    "version missing": (json.dumps({"steps": GOOD["steps"]}).encode(), ("version",)),
    "version of the future": (json.dumps({**GOOD, "version": 999}).encode(), ("version",)),
    "version a text": (json.dumps({**GOOD, "version": "1"}).encode(), ("version",)),
    "seed negative": (json.dumps({**GOOD, "seed": -1}).encode(), ("seed",)),
    "seed with decimals": (json.dumps({**GOOD, "seed": 1.5}).encode(), ("seed",)),
    "key twice": (b'{"version": 1, "steps": [{"duration_s": 5, "rhythm": "sinus", "rate_bpm": 60, "rate_bpm": 70}]}', ("rate_bpm",)),
    "empty file": (b"", ()),
    "only spaces": (b" \n\t ", ()),
    "null": (b"null", ()),
    "a list": (b"[]", ()),
    "a number": (b"3", ()),
    "two documents": (GOOD_TEXT + GOOD_TEXT, ()),
    "not UTF-8": (GOOD_TEXT.replace(b"rest", b"r\xe9st"), ("UTF-8",)),
    "UTF-16": (GOOD_TEXT.decode().encode("utf-16"), ("UTF-8",)),
    "binary": (bytes(random.Random(3).randbytes(5000)), ()),
    "NUL bytes": (b"\0" * 1000, ()),
    "nested lists": (b"[" * 200_000, ()),
    "nested dictionaries": (b'{"steps":' * 200_000, ()),
    "nested deep in a step": (b'{"version": 1, "steps": [' + b'{"repeat": 2, "steps": [' * 20_000, ()),
    "nested and closed": (b'{"version": 1, "steps": [{"duration_s": ' + b"[" * 100_000 + b"]" * 100_000 + b"}]}", ()),
    "trailing comma": (b'{"version": 1, "steps": [{"duration_s": 5, "rhythm": "sinus"},]}', ()),
    "comment": (b'{"version": 1, /* here */ "steps": []}', ()),
    "huge": (b" " * (40 << 20) + GOOD_TEXT, ("MiB",)),
    "half a surrogate": (one_step(name="x").replace(b'"x"', b'"\\ud800"'), ()),
}


@pytest.mark.parametrize("what", WRONG)
def test_wrong_script_is_refused(tmp_path, what):
    text, words = WRONG[what]
    (tmp_path / "script.json").write_bytes(text)
    before = files_below(tmp_path)
    began_s = processor_s()
    for verb in (["render", "script.json", "-o", "out.wav"], ["check", "script.json"]):
        outcome = run(*verb, cwd=tmp_path)
        assert_refused(outcome, "script.json", *words)
        assert outcome.stdout == b"", outcome
        assert files_below(tmp_path) == before
    # Processor time: a busy machine does not lengthen it as it lengthens the clock's.
    assert processor_s() - began_s < 10.0


def processor_s() -> float:
    """Processor time of every program run so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def test_the_good_script_is_not_refused(tmp_path):
    """Or else every refusal above would prove nothing."""
    (tmp_path / "script.json").write_bytes(GOOD_TEXT)
    assert render(tmp_path / "script.json", tmp_path / "out.wav").code == 0
    assert run("check", tmp_path / "script.json").code == 0


def test_mistake_is_shown_with_its_place(tmp_path):
    text = b'{\n  "version": 1,\n  "steps": [\n    {"duration_s": 5, "rhythm": "sinus", "rate_bpm": 9999}\n  ]\n}\n'
    (tmp_path / "ward.json").write_bytes(text)
    outcome = run("check", "ward.json", cwd=tmp_path)
    assert_refused(outcome, "rate_bpm", "9999")
    place = re.search(r"ward\.json:(\d+):(\d+)", outcome.stderr)
    assert place, outcome
    line, column = int(place[1]), int(place[2])
    assert line == 4
    assert text.splitlines()[3][column - 1 :].startswith((b"9999", b'"rate_bpm"')), outcome


def test_every_mistake_is_reported_at_once(tmp_path):
    steps = [
        {"duration_s": -3, "rhythm": "sinus"},
        {"duration_s": 5, "rhythm": "sinsu"},
        {"duration_s": 5, "rate_bpm": 5000},
        {"duration_s": 5, "raet_bpm": 70},
    ]
    scripts.write(tmp_path / "many.json", *steps)
    assert_refused(run("check", "many.json", cwd=tmp_path), "duration_s", "sinsu", "5000", "raet_bpm")


@pytest.mark.parametrize("cut", range(0, len(GOOD_TEXT), 13))
def test_truncated_script_is_refused(tmp_path, cut):
    (tmp_path / "cut.json").write_bytes(GOOD_TEXT[:cut])
    assert_refused(render(tmp_path / "cut.json", tmp_path / "out.wav"), "cut.json")
    assert set(files_below(tmp_path)) == {"cut.json"}


def test_damaged_scripts_never_crash(tmp_path):
    """A few bytes replaced, removed or doubled at random: played or refused, never anything else."""
    chance = random.Random(11)
    refused = 0
    for round_ in range(150):
        text = bytearray(GOOD_TEXT)
        for _ in range(chance.randint(1, 4)):
            at = chance.randrange(len(text))
            match chance.randrange(3):
                case 0:
                    text[at] = chance.randrange(256)
                case 1:
                    del text[at : at + chance.randint(1, 9)]
                case _:
                    text[at:at] = text[at : at + chance.randint(1, 30)]
        (tmp_path / "damaged.json").write_bytes(text)
        outcome = run("check", tmp_path / "damaged.json")
        assert outcome.code in (0, 2), (round_, bytes(text), str(outcome))
        if outcome.code == 2:
            refused += 1
            assert_refused(outcome, "damaged.json")
    assert refused > 100
