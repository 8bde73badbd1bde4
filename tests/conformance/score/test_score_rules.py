"""The rules themselves: matching, classes, runs, episodes, against the second comparator."""

from __future__ import annotations

import numpy as np
import pytest
import wfdb
from comparator import compare, largest_matching, matrix

ALL = ("--learning-s", 0)


def write_annotations(folder, name, suffix, frames, codes, rate_hz, **more):
    """An annotation file by the `wfdb` package; the rate is noted in the file."""
    wfdb.wrann(name, suffix, np.asarray(frames), symbol=list(codes), fs=rate_hz, write_dir=str(folder), **more)
    return folder / f"{name}.{suffix}"


def test_worked_example_of_competing_candidates(score, tmp_path):
    # From the comment in the open comparator's source: references 96 and 160, tests 128 and 185, window 37 frames.
    reference = write_annotations(tmp_path, "worked", "atr", [96, 160], "NN", 250)
    test = write_annotations(tmp_path, "worked", "qrs", [128, 185], "NN", 250)
    scored = score(reference, test, *ALL, "--window-ms", 148)
    assert scored.beats(250) == ([(96, 128), (160, 185)], [], [])
    found = compare([96, 160], [128, 185], 37)
    assert found.pairs == [(96, 128), (160, 185)]


@pytest.mark.parametrize("rate_hz", [250, 360, 500, 1000])
def test_window_edge(score, tmp_path, rate_hz):
    inside = int(0.15 * rate_hz)
    reference = write_annotations(tmp_path, "edge", "atr", [1000, 3000], "NN", rate_hz)
    test = write_annotations(tmp_path, "edge", "qrs", [1000 + inside, 3000 + inside + 1], "NN", rate_hz)
    assert score(reference, test, *ALL).beats(rate_hz) == ([(1000, 1000 + inside)], [3000], [3000 + inside + 1])


def random_beats(seed):
    """Crowded beats on both sides: jitter about as wide as the window, drops, doubles, stray beats."""
    random = np.random.default_rng(seed)
    reference = np.cumsum(random.integers(15, 400, 300)) + 100
    keep = random.random(300) > 0.15
    test = reference[keep] + random.normal(0, 35, keep.sum()).astype(int)
    test = np.r_[test, random.integers(0, reference[-1], 60)]
    return np.unique(reference), np.unique(np.clip(test, 0, None))


def test_crowded_beats_match_the_second_comparator(score, tmp_path):
    (tmp_path / "reference").mkdir()
    (tmp_path / "test").mkdir()
    expected, sets = {}, range(40)
    for seed in sets:
        reference, test = random_beats(seed)
        write_annotations(tmp_path / "reference", f"r{seed}", "atr", reference, "N" * len(reference), 360)
        write_annotations(tmp_path / "test", f"r{seed}", "qrs", test, "N" * len(test), 360)
        found = compare(reference.tolist(), test.tolist(), 54)
        assert len(found.pairs) <= largest_matching(reference, test, 54)
        expected[f"r{seed}"] = (len(found.pairs), len(found.missed), len(found.extra))
    scored = score(tmp_path / "reference", tmp_path / "test", *ALL, "--reference-suffix", ".atr", "--test-suffix", ".qrs")
    assert scored.code == 0, scored.err
    report = scored.report
    ours = {
        r["record"]: (r["detection"]["matched"], r["detection"]["missed"], r["detection"]["extra"])
        for r in report["records"]
    }
    assert ours == expected
    gross = np.array(list(expected.values())).sum(axis=0)
    assert report["gross"]["detection"]["sensitivity"]["percent"] == pytest.approx(100 * gross[0] / (gross[0] + gross[1]))
    each = [100 * m / (m + o) for m, o, _ in expected.values()]
    average = {a["metric"]: a for a in report["average"]}
    assert average["se"]["mean"] == pytest.approx(np.mean(each))
    assert average["se"]["records"] == len(expected)


CODES = "NLRBAaJSejnVErF/fQ"


@pytest.mark.parametrize("class_map", ["comparator", "tables"])
def test_matrix_and_ectopic_figures(score, tmp_path, class_map):
    random = np.random.default_rng(5)
    reference, test = random_beats(77)
    reference_codes = "".join(random.choice(list(CODES), len(reference)))
    test_codes = "".join(random.choice(list(CODES), len(test)))
    scored = score(
        write_annotations(tmp_path, "classes", "atr", reference, reference_codes, 360),
        write_annotations(tmp_path, "classes", "qrs", test, test_codes, 360),
        *ALL, "--classes", class_map,
    )
    assert scored.code == 0, scored.err
    found = compare(reference.tolist(), test.tolist(), 54)
    code = dict(zip(reference.tolist(), reference_codes, strict=True)), dict(zip(test.tolist(), test_codes, strict=True))
    counts = matrix(
        [(code[0][r], code[1][t]) for r, t in found.pairs],
        [code[0][r] for r in found.missed],
        [code[1][t] for t in found.extra],
        class_map,
    )
    rows = scored.record["matrix"]
    ours = {r + t: rows[i][j] for i, r in enumerate("NSVFQOX") for j, t in enumerate("nsvfqox") if rows[i][j]}
    assert ours == {cell: n for cell, n in counts.items() if n}
    veb = scored.record["ventricular"]
    assert veb["right"] == counts["Vv"]
    assert veb["missed"] == sum(counts["V" + c] for c in "nsfqo")
    assert veb["wrong"] == sum(counts[c + "v"] for c in "NSO")
    sveb = scored.record["supraventricular"]
    assert sveb["missed"] == sum(counts["S" + c] for c in "nvfqo")
    assert sveb["wrong"] == sum(counts[c + "s"] for c in "NVFO")
    # The report alone must show which map was used.
    assert scored.report["rules"]["class_map"].startswith(class_map)


def test_unlabelled_detectors_get_no_class_figures(score, record_100, write_frames):
    scored = score(record_100.reference, write_frames(record_100.beats), *ALL, "--test-rate-hz", 360)
    assert scored.record["ventricular"] is None
    assert scored.record["matrix"][2] == [1, 0, 0, 0, 0, 0, 0]
    gated = score(record_100.reference, write_frames(record_100.beats), *ALL, "--test-rate-hz", 360, "--min", "veb_se=90")
    assert gated.code == 1, "a figure that could not be formed must not pass"


def test_fibrillation_in_the_reference_forgives_extra_beats(score, tmp_path):
    rate = 250
    reference = write_annotations(tmp_path, "vf", "atr", [250, 500, 600, 3000, 3100], "NN[]N", rate)
    test = write_annotations(tmp_path, "vf", "qrs", [250, 500, 560, 700, 900, 2990, 3050, 3100], "NNNNNNNN", rate)
    scored = score(reference, test, *ALL)
    assert scored.beats(rate) == ([(250, 250), (500, 500), (3100, 3100)], [], [560, 3050])
    # An interval that spans fibrillation is void.
    assert scored.record["rates"]["rr_ms"]["count"] == 1
    # The other way round nothing is forgiven: reference beats in the test's fibrillation are missed.
    other = score(test, reference, *ALL)
    assert other.counts() == (3, 5, 0)


def test_shutdown(score, tmp_path):
    rate = 250
    beats = list(range(250, 5000, 250))
    reference = write_annotations(tmp_path, "shut", "atr", beats, "N" * 10 + "V" + "N" * (len(beats) - 11), rate)
    kept = [b for b in beats if not 2100 < b < 3400]
    marks = sorted([(b, "N", 0) for b in kept] + [(2100, "~", -1), (3400, "~", 0)])
    test = write_annotations(
        tmp_path, "shut", "qrs", [m[0] for m in marks], [m[1] for m in marks], rate,
        subtype=np.array([m[2] for m in marks]),
    )
    record = score(reference, test, *ALL).record
    lost = len(beats) - len(kept)
    assert (record["matrix"][0][6], record["matrix"][2][6]) == (lost - 1, 1)
    assert record["detection"]["missed"] == lost, "beats missed in shutdown are missed"
    assert record["shutdown"]["test_s"] == pytest.approx(1300 / rate)
    assert record["shutdown"]["beats"] == {"part": lost, "whole": len(beats), "percent": 100 * lost / len(beats)}


def runs_of(frames, codes):
    """Runs of V as (first, last, beats up to 6), by splitting the string of codes."""
    runs, i = [], 0
    while i < len(codes):
        j = i
        while j < len(codes) and codes[j] == "V":
            j += 1
        if j > i:
            runs.append((frames[i], frames[j - 1], min(j - i, 6)))
        i = max(j, i + 1)
    return runs


def test_runs(score, tmp_path):
    random = np.random.default_rng(11)
    frames = np.arange(1, 800) * 200
    reference_codes = "".join(np.where(random.random(799) < 0.6, "V", "N"))
    flip = random.random(799) < 0.15
    test_codes = "".join({"V": "N", "N": "V"}[c] if f else c for c, f in zip(reference_codes, flip, strict=True))
    test_frames = frames + random.integers(-20, 21, 799)
    figures = score(
        write_annotations(tmp_path, "runs", "atr", frames, reference_codes, 360),
        write_annotations(tmp_path, "runs", "qrs", test_frames, test_codes, 360),
        *ALL,
    ).record["ventricular_runs"]
    sides = runs_of(frames, reference_codes), runs_of(test_frames, test_codes)

    def partners(leading, other):
        for first, last, length in leading:
            inside = [n for a, b, n in other if b >= first - 54 and a <= last + 54]
            yield length, max(inside, default=0)

    for lead, name in ((partners(*sides), "sensitivity"), (partners(*sides[::-1]), "predictivity")):
        lead = list(lead)
        for kind, lengths, least in (("couplet", {2}, 2), ("short", {3, 4, 5}, 3), ("long", {6}, 6)):
            of_kind = [partner for length, partner in lead if length in lengths]
            share = figures[f"{kind}_{name}"]
            assert share["whole"] == len(of_kind) > 0
            assert share["part"] == sum(partner >= least for partner in of_kind)


def test_episodes_by_number_and_by_time(score, tmp_path):
    rate, second = 250, 250
    # Atrial fibrillation 10 to 40 s and 60 to 80 s, flutter 80 to 100 s, ventricular fibrillation 120 to 130 s.
    reference = write_annotations(
        tmp_path, "ep", "atr",
        np.array([5, 10, 40, 60, 80, 100, 120, 130, 150]) * second, "N+++++[]N", rate,
        aux_note=["", "(AFIB", "(N", "(AFIB", "(AFL", "(N", "", "", ""],
    )
    test = write_annotations(
        tmp_path, "ep", "qrs",
        np.array([5, 20, 50, 85, 95, 105, 112, 125, 150]) * second, "N+++++[]N", rate,
        aux_note=["", "(AFIB", "(N", "(AFIB", "(N", "(ASYS", "", "", ""],
    )
    episodes = {e["kind"]: e for e in score(reference, test, *ALL).record["episodes"]}
    marks = {"af": ([(10, 40), (60, 80)], [(20, 50)]), "vf": ([(120, 130)], [(112, 125)])}
    clock = np.arange(0, 150, 0.01) + 0.005
    covers = lambda spans: np.any([(clock > a) & (clock < b) for a, b in spans], axis=0)  # noqa: E731
    for kind, (ref, tst) in marks.items():
        ours = episodes[kind]
        common = (covers(ref) & covers(tst)).sum() * 0.01
        assert ours["reference_s"] == pytest.approx(covers(ref).sum() * 0.01)
        assert ours["test_s"] == pytest.approx(covers(tst).sum() * 0.01)
        assert ours["common_s"] == pytest.approx(common)
        assert ours["duration_sensitivity_percent"] == pytest.approx(100 * common / (covers(ref).sum() * 0.01))
    assert (episodes["af"]["sensitivity"]["part"], episodes["af"]["sensitivity"]["whole"]) == (1, 2)
    # The test's second episode lies in reference flutter: neither credit nor penalty.
    assert episodes["af"]["predictivity"]["whole"] == 1
    assert episodes["asystole"]["sensitivity"]["whole"] == 0
    assert episodes["asystole"]["predictivity"] == {"part": 0, "whole": 1, "percent": 0.0}
