"""Signatures of records, made and verified by the program and by an outside implementation of Ed25519 (RFC 8032)."""

from __future__ import annotations

import copy
import json
import re
import stat

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ed25519
from malformed.readers import ANSWERS, PLAN
from program import assert_refused, files_below, run, succeed
from test_two_at_once import two_at_once


TITLE = "pulsewright signature of a record, version 1\n"
WHO = ["--signer", "Anna Invented", "--meaning", "reviewed: \u201cas found\u201d"]


@pytest.fixture
def record(tmp_path):
    """A record that a session saved."""
    (tmp_path / "plan.json").write_text(json.dumps(PLAN))
    succeed("session", tmp_path / "plan.json", "-o", tmp_path / "record.json", stdin=ANSWERS.encode())
    return tmp_path / "record.json"


@pytest.fixture
def key(tmp_path):
    succeed("report", "--new-key", tmp_path / "anna.pem")
    return tmp_path / "anna.pem"


def public(key):
    return key.with_name(key.name + ".pub")


def signatures(record):
    return record.with_name("record.json.signatures")


def signed_bytes(entry: dict) -> bytes:
    """The signed bytes, as docs/record.md states them."""
    statement = {name: value for name, value in entry.items() if name != "signature"}
    return (TITLE + json.dumps(statement, sort_keys=True, separators=(",", ":"), ensure_ascii=False)).encode()


def outside_verifies(entry: dict, pem: bytes) -> bool:
    key = serialization.load_pem_public_key(pem)
    assert isinstance(key, ed25519.Ed25519PublicKey)
    assert key.public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw).hex() == entry["key"]
    try:
        key.verify(bytes.fromhex(entry["signature"]), signed_bytes(entry))
    except InvalidSignature:
        return False
    return True


def test_a_new_key_is_its_owners_alone_and_an_outside_library_reads_it(tmp_path, key):
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    private = serialization.load_pem_private_key(key.read_bytes(), None)
    spki = (serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    assert private.public_key().public_bytes(*spki) == public(key).read_bytes()
    before = files_below(tmp_path)
    assert_refused(run("report", "--new-key", key), "exists")
    assert files_below(tmp_path) == before
    succeed("report", "--new-key", tmp_path / "other.pem")
    assert (tmp_path / "other.pem").read_bytes() != key.read_bytes()


def test_what_the_program_signs_the_outside_library_verifies(record, key):
    before = record.read_bytes()
    said = succeed("report", record, "--sign", key, *WHO)
    assert b"signed: " in said.stdout
    assert record.read_bytes() == before
    (entry,) = json.loads(signatures(record).read_text())["signatures"]
    assert (entry["signer"], entry["meaning"], entry["record"]) == (WHO[1], WHO[3], json.loads(before)["digest"])
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", entry["time"])
    assert outside_verifies(entry, public(key).read_bytes())
    for member in ("record", "signer", "meaning", "time"):
        assert not outside_verifies(entry | {member: entry[member][:-1] + "7"}, public(key).read_bytes()), member
    # The private key is in neither file.
    secret = serialization.load_pem_private_key(key.read_bytes(), None).private_bytes_raw()
    for text in (before, signatures(record).read_bytes()):
        assert secret not in text and secret.hex().encode() not in text and b"PRIVATE" not in text
    assert b"signed   reviewed" in succeed("report", record, "--verify", public(key)).stdout


def test_what_the_outside_library_signs_the_program_verifies(tmp_path, record):
    private = ed25519.Ed25519PrivateKey.generate()
    pem = serialization.Encoding.PEM
    (tmp_path / "key.pem").write_bytes(private.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()))
    (tmp_path / "key.pub").write_bytes(private.public_key().public_bytes(pem, serialization.PublicFormat.SubjectPublicKeyInfo))
    entry = {"record": json.loads(record.read_text())["digest"], "signer": "B. Invented \u00e9", "meaning": "approved", "time": "2026-11-27T10:00:00Z"}
    entry["key"] = private.public_key().public_bytes_raw().hex()
    entry["signature"] = private.sign(signed_bytes(entry)).hex()
    signatures(record).write_text(json.dumps({"version": 1, "signatures": [entry]}))
    assert "approved by B. Invented \u00e9 at 2026-11-27T10:00:00Z" in succeed("report", record, "--verify", tmp_path / "key.pub").stdout.decode()
    # And signs with a key that the outside library made; the first signature stays.
    (tmp_path / "key.pem").chmod(0o600)
    assert succeed("report", record, "--sign", tmp_path / "key.pem", *WHO).stderr == ""
    first, second = json.loads(signatures(record).read_text())["signatures"]
    assert first == entry and outside_verifies(second, (tmp_path / "key.pub").read_bytes())


def test_no_signature_survives_a_change(record, key, tmp_path):
    """Any one character of the signature file, any member lost, null or doubled; another record; another key."""
    succeed("report", record, "--sign", key, *WHO)
    sound = signatures(record).read_text()
    tried = 0

    def refused(text: str, what: object):
        signatures(record).write_text(text)
        outcome = run("report", record, "--verify", public(key))
        assert outcome.code in (1, 2), (what, outcome)

    parsed = json.loads(sound)
    for at, was in enumerate(sound):
        changed = sound[:at] + ("8" if was == "7" else "7") + sound[at + 1 :]
        try:
            if json.loads(changed) == parsed:
                continue
        except ValueError:
            pass
        refused(changed, at)
        tried += 1
    assert tried > 450
    (entry,) = parsed["signatures"]
    for member in entry:
        for value in (None, "", entry[member] * 2, entry[member].upper()):
            if value != entry[member]:
                refused(json.dumps({"version": 1, "signatures": [entry | {member: value}]}), member)
        without = copy.deepcopy(entry)
        del without[member]
        refused(json.dumps({"version": 1, "signatures": [without]}), member)
        refused(sound.replace(f'"{member}": ', f'"{member}": "", "{member}": ', 1), member)
    refused(json.dumps({"version": 1, "signatures": []}), "none")
    signatures(record).write_text(sound)

    succeed("report", "--new-key", tmp_path / "other.pem")
    other = run("report", record, "--verify", public(tmp_path / "other.pem"))
    assert other.code == 1 and b"no signature of the key" in other.stdout and b"not named to verify" in other.stdout
    both = run("report", record, "--verify", public(key), "--verify", public(tmp_path / "other.pem"))
    assert both.code == 1 and b"no signature of the key" in both.stdout

    record.unlink()
    record.with_suffix(".played.json").unlink()
    succeed("session", tmp_path / "plan.json", "-o", record, stdin=ANSWERS.replace("INV-7", "INV-8").encode())
    outcome = run("report", record, "--verify", public(key))
    assert outcome.code == 1 and b"is that of another record" in outcome.stdout, outcome


def test_only_a_whole_record_is_signed(record, key, tmp_path):
    text = record.read_text()
    before = files_below(tmp_path)
    for name, content in (("changed.json", text.replace("INV-7", "INV-9")), ("none.json", re.sub(r',\s*"digest": "[^"]*"\s*}\s*$', "}", text)), ("table.csv", "item,value\nabout.asset,INV-7\n")):
        (tmp_path / name).write_text(content)
        outcome = run("report", tmp_path / name, "--script", tmp_path / "plan.json", "--sign", key, *WHO)
        assert_refused(outcome, "only a record as it was saved")
        (tmp_path / name).unlink()
    assert_refused(run("report", record, "--sign", public(key), *WHO), "not a private Ed25519 key")
    assert_refused(run("report", record, "--sign", record, *WHO), "not a private Ed25519 key")
    assert_refused(run("report", record, "--verify", public(key)), "signatures")
    assert_refused(run("report", record, "--sign", key, "--signer", "", "--meaning", "x"), "signer's name")
    assert_refused(run("report", record, "--sign", key, "--signer", "a\nb", "--meaning", "x"), "signer's name")
    assert_refused(run("report", record, "--sign", key), "--signer")
    assert files_below(tmp_path) == before
    key.chmod(0o644)
    assert "can be read by others" in succeed("report", record, "--sign", key, *WHO).stderr
    assert_refused(run("report", record, "--verify", key), "not a public Ed25519 key")


def test_two_who_sign_at_once_lose_no_signature(record, key):
    words = ["report", record, "--sign", key, *WHO]
    two_at_once(words, words, record.parent)
    assert len(json.loads(signatures(record).read_text())["signatures"]) == 1
    succeed(*words)
    assert len(json.loads(signatures(record).read_text())["signatures"]) == 2
