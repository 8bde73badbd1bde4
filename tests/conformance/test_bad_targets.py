"""Arguments and targets that can't be: refused before work; what was there stays as it was."""

from __future__ import annotations

import pytest
import scripts
from program import assert_refused, files_below, render, run


@pytest.fixture
def source(tmp_path):
    """A short good script."""
    return scripts.write(tmp_path / "script.json", scripts.step(5, rate_bpm=72))


@pytest.mark.parametrize("value", ["0", "-1", "99", "48001", "NaN", "inf", "1e40", "abc", "", "99999999999999999999", "500.5"])
def test_frame_rate_out_of_range(tmp_path, source, value):
    outcome = run("render", source, "-o", tmp_path / "out.wav", f"--frame-rate={value}")
    assert_refused(outcome, "frame-rate")
    assert set(files_below(tmp_path)) == {"script.json"}


@pytest.mark.parametrize("value", ["", "VX", "II,VX", "II,II", ",", "II;V1"])
def test_channels_that_are_none(tmp_path, source, value):
    outcome = run("render", source, "-o", tmp_path / "out.wav", f"--channels={value}")
    assert_refused(outcome, "channel")
    assert set(files_below(tmp_path)) == {"script.json"}


@pytest.mark.parametrize("value", ["0", "8", "17", "double", "-16", ""])
def test_bits_that_are_none(tmp_path, source, value):
    assert_refused(run("render", source, "-o", tmp_path / "out.wav", f"--bits={value}"), "bits")


@pytest.mark.parametrize("name", ["out", "out.xyz", "out.wav.txt", ".wav"])
def test_format_that_is_none(tmp_path, source, name):
    outcome = render(source, tmp_path / name)
    assert_refused(outcome)
    assert set(files_below(tmp_path)) == {"script.json"}


def test_missing_script(tmp_path):
    assert_refused(render(tmp_path / "nothing.json", tmp_path / "out.wav"), "nothing.json")
    assert files_below(tmp_path) == {}


def test_folder_as_script(tmp_path):
    assert_refused(render(tmp_path, tmp_path / "out.wav"))


def test_folder_as_target(tmp_path, source):
    (tmp_path / "out.wav").mkdir()
    assert_refused(render(source, tmp_path / "out.wav"), "out.wav")
    assert (tmp_path / "out.wav").is_dir()
    assert set(files_below(tmp_path)) == {"script.json"}


def test_target_in_no_folder(tmp_path, source):
    assert_refused(render(source, tmp_path / "none" / "out.wav"), "none")
    assert set(files_below(tmp_path)) == {"script.json"}


def test_target_below_a_file(tmp_path, source):
    assert_refused(render(source, source / "out.wav"))


def test_target_where_nothing_can_be_written(source):
    assert_refused(render(source, "/proc/out.wav"), "/proc")


@pytest.mark.parametrize("occupied", ["out.wav", "out.channels.json", "out.manifest.json", "out.beats.csv", "out.steps.csv"])
def test_nothing_is_overwritten_unasked(tmp_path, source, occupied):
    (tmp_path / occupied).write_bytes(b"precious")
    before = files_below(tmp_path)
    outcome = render(source, tmp_path / "out.wav")
    assert_refused(outcome, occupied, "--force")
    assert files_below(tmp_path) == before
    assert run("render", source, "-o", tmp_path / "out.wav", "--force").code == 0
    assert (tmp_path / occupied).read_bytes() != b"precious"


def test_script_is_never_its_own_target(tmp_path):
    source = scripts.write(tmp_path / "script.csv", scripts.step(5, rate_bpm=72))
    before = files_below(tmp_path)
    assert_refused(run("render", source, "-o", source, "--force"))
    assert files_below(tmp_path) == before


def test_no_arguments_and_unknown_verbs():
    assert_refused(run())
    assert_refused(run("rendre"), "render")
    assert_refused(run("render"))
    assert_refused(run("render", "--no-such-flag"), "--no-such-flag")


def test_arguments_that_are_not_utf_8(tmp_path, source):
    outcome = run("render", source, "-o", bytes(tmp_path) + b"/\xff\xfe.wav")
    assert outcome.code in (0, 2), outcome
    assert "panicked" not in outcome.stderr
    assert_refused(run(b"\xff\xfe"))


ONE_LINER = {"--rhythm": "sinus", "--rate": "72", "--duration": "5s", "--pressure": "120/80"}


@pytest.mark.parametrize(
    ("flag", "value"),
    [
        *(("--rate", value) for value in ("0", "NaN", "1e40", "-70", "10000", "")),
        *(("--duration", value) for value in ("0s", "-5s", "1e40s", "NaN", "5", "")),
        *(("--pressure", value) for value in ("80/120", "120", "nan/80", "1e40/80", "120/-80")),
        ("--rhythm", "sinsu"),
    ],
)
def test_one_liner_out_of_range(tmp_path, flag, value):
    flags = [f"{k}={v}" for k, v in (ONE_LINER | {flag: value}).items()]
    assert_refused(run("render", *flags, "-o", tmp_path / "out.wav"), "sinus" if flag == "--rhythm" else flag[2:])
    assert files_below(tmp_path) == {}


def test_a_good_one_liner_is_played(tmp_path):
    run_ = run("render", *(f"{k}={v}" for k, v in ONE_LINER.items()), "-o", tmp_path / "out.wav")
    assert run_.code == 0, run_
    assert (tmp_path / "out.wav").stat().st_size > 5 * 500 * 14 * 2
