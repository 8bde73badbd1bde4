"""Two reports compared: pooled figures by NumPy, intervals by scipy's bootstrap."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy import stats

RECORDS = 40
FLAGS = ("--learning-s", 0, "--reference-suffix", ".csv")


def beats(path, times):
    path.write_text("time_s,code\n" + "".join(f"{t:.6f},N\n" for t in times), encoding="utf-8")


@pytest.fixture
def folders(tmp_path):
    """Invented records of 100 beats; an old detector that loses many beats of a few records, a new one that loses fewer and adds some."""
    random = np.random.default_rng(11)
    for name in ("reference", "old", "new"):
        (tmp_path / name).mkdir()
    for record in range(RECORDS):
        truth = 1 + np.arange(100) * 0.8 + random.uniform(0, 0.1, 100)
        beats(tmp_path / "reference" / f"r{record:02}.csv", truth)
        lost = 0.25 if record % 8 == 0 else 0.02
        old = truth[random.random(100) > lost] + 0.004
        new = np.append(truth[random.random(100) > lost / 3] + 0.004, random.uniform(20, 60, record % 3))
        beats(tmp_path / "old" / f"r{record:02}.csv", old)
        beats(tmp_path / "new" / f"r{record:02}.csv", np.sort(new))
    return tmp_path


@pytest.fixture
def compared(score, folders):
    old = score(folders / "reference", folders / "old", *FLAGS)
    assert old.code == 0, old.err
    (folders / "old.json").write_text(old.out, encoding="utf-8")
    new = score(folders / "reference", folders / "new", *FLAGS, "--against", folders / "old.json")
    assert new.code == 0, new.err
    return old.report, new.report


def counts(report):
    return np.array([[r["detection"][key] for key in ("matched", "missed", "extra")] for r in report["records"]], dtype=float)


def squares(report):
    errors = [r["rates"]["rr_intact_ms"] for r in report["records"]]
    return np.array([[e["count"] * e["rms"] ** 2, e["count"]] for e in errors])


FIGURES = {
    "se": (counts, lambda sums: 100 * sums[0] / (sums[0] + sums[1])),
    "ppv": (counts, lambda sums: 100 * sums[0] / (sums[0] + sums[2])),
    "rr_intact_rms_ms": (squares, lambda sums: np.sqrt(sums[0] / sums[1])),
}


@pytest.mark.parametrize("name", FIGURES)
def test_intervals_are_those_of_scipys_bootstrap(compared, name):
    old, new = compared
    rows, value = FIGURES[name]
    before, now = rows(old), rows(new)
    [found] = [one for one in new["against"]["figures"] if one["metric"] == name]
    assert found["earlier"] == pytest.approx(value(before.sum(axis=0)), rel=1e-9)
    assert found["now"] == pytest.approx(value(now.sum(axis=0)), rel=1e-9)
    assert found["change"] == pytest.approx(found["now"] - found["earlier"], abs=1e-9)

    def difference(records):
        return value(now[records].sum(axis=0)) - value(before[records].sum(axis=0))

    places = np.arange(RECORDS)
    expected = stats.bootstrap((places,), difference, n_resamples=9999, vectorized=False, method="percentile", rng=3).confidence_interval
    width = expected.high - expected.low
    assert found["low"] == pytest.approx(expected.low, abs=0.12 * width)
    assert found["high"] == pytest.approx(expected.high, abs=0.12 * width)


def test_better_and_worse_are_named(compared):
    _, new = compared
    against = new["against"]
    words = {one["metric"]: one["verdict"] for one in against["figures"]}
    assert (words["se"], words["ppv"]) == ("better", "worse")
    assert against["records"] == RECORDS and against["only_here"] == against["only_earlier"] == 0
    wrong = np.array([counts(report)[:, 1:].sum(axis=1) for report in compared])
    assert against["better"] == (wrong[1] < wrong[0]).sum() and against["worse"] == (wrong[1] > wrong[0]).sum()
    most = np.abs(wrong[1] - wrong[0]).max()
    assert abs(against["changed_most"][0]["now"] - against["changed_most"][0]["earlier"]) == most


def test_a_report_against_itself_is_the_same(score, folders):
    old = score(folders / "reference", folders / "old", *FLAGS)
    (folders / "old.json").write_text(old.out, encoding="utf-8")
    again = score(folders / "reference", folders / "old", *FLAGS, "--against", folders / "old.json", "--max-loss", "se=0")
    assert again.code == 0
    assert {one["verdict"] for one in again.report["against"]["figures"]} == {"same"}


def test_a_loss_beyond_its_limit_fails(score, folders):
    new = score(folders / "reference", folders / "new", *FLAGS)
    (folders / "new.json").write_text(new.out, encoding="utf-8")
    gate = ("--against", folders / "new.json")
    worse = score(folders / "reference", folders / "old", *FLAGS, *gate, "--max-loss", "se=1", "--max-loss", "ppv=0", form="text")
    assert worse.code == 1
    loss = 100 * (counts(new.report)[:, 0].sum() - counts(score(folders / "reference", folders / "old", *FLAGS).report)[:, 0].sum()) / (100 * RECORDS)
    assert f"FAIL  loss: se <= 1: {loss:.3f}" in worse.out
    assert "pass  loss: ppv <= 0: 0.000" in worse.out and "Against the earlier report" in worse.out
    (folders / "limits.json").write_text('{"loss": {"se": 90}}', encoding="utf-8")
    assert score(folders / "reference", folders / "old", *FLAGS, *gate, "--limits", folders / "limits.json").code == 0
    page = score(folders / "reference", folders / "old", *FLAGS, *gate, form="markdown").out
    assert page.startswith("## beats against the reference: passed\n") and "| se | " in page and "| worse |" in page


def test_what_can_not_be_compared_is_refused(score, folders):
    def refused(*flags, why):
        done = score(folders / "reference", folders / "new", *FLAGS, *flags)
        assert done.code == 2 and done.out == "" and why in done.err, done.err

    (folders / "no.json").write_text('{"records": []}', encoding="utf-8")
    refused("--against", folders / "no.json", why="not a report")
    (folders / "cut.json").write_text('{"records": [', encoding="utf-8")
    refused("--against", folders / "cut.json", why="line 1")
    old = score(folders / "reference", folders / "old", *FLAGS, "--window-ms", 100)
    (folders / "old.json").write_text(old.out, encoding="utf-8")
    refused("--against", folders / "old.json", why="another rule: window_s")
    refused("--max-loss", "se=1", why="--against")
    refused("--against", folders / "old.json", "--max-loss", "found=1", why="allowed: se, ppv")
    (folders / "by.json").write_text('{"by": {"rhythm": {"sinus": {"min": {"se": 90}}}}}', encoding="utf-8")
    refused("--limits", folders / "by.json", why="go with suite")
