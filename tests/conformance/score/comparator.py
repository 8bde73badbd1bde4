"""A second comparator, written from the published rules and from nothing of ours.

Source of the rules: ANSI/AAMI EC57 and EC38 as in the documentation and comments of the open waveform-database
comparators: window 150 ms inclusive; a beat matches at most one; the nearer of two candidates wins; since 2002 the pair at
hand also stands when its rival fits the following beat of the other side better.

Times are whole frames, so there is no rounding. The work is done cluster by cluster: beats further apart than the window
from all others decide themselves, only crowded ones need the rule.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

CLASSES = {
    "comparator": {"N": "NLRB", "S": "AaJSejn", "V": "VEr", "F": "F", "Q": "/fQ?"},
    "tables": {"N": "NLRBejn", "S": "AaJS", "V": "VEr", "F": "F", "Q": "/fQ?"},
}


@dataclass
class Result:
    """Frames of the matched pairs, of missed reference beats and of extra test beats."""

    pairs: list[tuple[int, int]] = field(default_factory=list)
    missed: list[int] = field(default_factory=list)
    extra: list[int] = field(default_factory=list)


def clusters(reference, test, window):
    """Groups of (reference, test) frames in which each neighbour is at most the window away."""
    marks = sorted([(frame, "r") for frame in reference] + [(frame, "t") for frame in test])
    group, last = [], None
    for mark in marks:
        if last is not None and mark[0] - last > 2 * window:
            yield [f for f, side in group if side == "r"], [f for f, side in group if side == "t"]
            group = []
        group.append(mark)
        last = mark[0]
    if group:
        yield [f for f, side in group if side == "r"], [f for f, side in group if side == "t"]


def compare(reference, test, window) -> Result:
    """Compares two lists of frames."""
    result = Result()
    for refs, tests in clusters(reference, test, window):
        _settle(refs, tests, window, result)
    return result


def _settle(refs, tests, window, result):
    """The rule inside a cluster, from the earliest beat on."""
    while refs and tests:
        r, t = refs[0], tests[0]
        early_side, late = (tests, r) if t < r else (refs, t)
        late_side = refs if t < r else tests
        stands = abs(r - t) <= window
        if stands and len(early_side) > 1:
            rival = abs(early_side[1] - late)
            if rival <= abs(r - t):
                # The late beat has a better candidate. Let it have that one, unless that one is better off with the next.
                stands = len(late_side) > 1 and abs(early_side[1] - late_side[1]) < rival
        if stands:
            result.pairs.append((refs.pop(0), tests.pop(0)))
        elif t < r:
            result.extra.append(tests.pop(0))
        else:
            result.missed.append(refs.pop(0))
    result.missed += refs
    result.extra += tests


def class_of(code: str, class_map: str) -> str:
    """Class of a beat code by one of the published maps."""
    return next(name for name, codes in CLASSES[class_map].items() if code in codes)


def matrix(pairs, missed, extra, class_map="comparator") -> Counter:
    """Counts such as `Vn`; each entry of the lists carries beat codes."""
    counts = Counter()
    for r, t in pairs:
        counts[class_of(r, class_map) + class_of(t, class_map).lower()] += 1
    for r in missed:
        counts[class_of(r, class_map) + "o"] += 1
    for t in extra:
        counts["O" + class_of(t, class_map).lower()] += 1
    return counts


def largest_matching(reference, test, window) -> int:
    """Most pairs that any rule could make: an upper bound."""
    count = i = j = 0
    while i < len(reference) and j < len(test):
        gap = test[j] - reference[i]
        if abs(gap) <= window:
            count, i, j = count + 1, i + 1, j + 1
        elif gap < 0:
            j += 1
        else:
            i += 1
    return count
