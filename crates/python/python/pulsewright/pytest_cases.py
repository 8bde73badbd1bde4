"""One test for each record of a suite's plan.

    from pulsewright.pytest_cases import cases

    @cases("plan.json", limits={"min": {"se": 99.5}})
    def test_detector(case, check):
        check(my_detector(case.render()))

`check` scores the detections and fails the test when a limit is broken.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest

from . import Case, Detections, Script, Suite

Check = Callable[[Detections], dict[str, Any]]


class _Case(Case):
    """A case that knows its limits."""

    limits: Mapping[str, Any] | None = None


def cases(plan: Script, limits: Mapping[str, Any] | None = None) -> pytest.MarkDecorator:
    """Decorate a test with the arguments `case` and `check`: it runs once for each record."""
    records = Suite(plan)
    for_each = []
    for case in records:
        made = _Case(records, case.index)
        made.limits = limits
        for_each.append(made)
    return pytest.mark.parametrize("case", for_each, ids=[case.name for case in for_each])


@pytest.fixture
def check(case: _Case) -> Check:
    """Scores detections of the test's case and fails on a broken limit; returns the report."""

    def judge(detections: Detections) -> dict[str, Any]:
        report = case.score(detections, case.limits)
        broken = [verdict for verdict in report.get("verdicts", []) if not verdict.get("passed", True)]
        if broken:
            lines = [f"{verdict['metric']} is {verdict['value']}, limit {verdict['bound']} {verdict['limit']}" for verdict in broken]
            pytest.fail(f"{case.name}: " + "; ".join(lines), pytrace=False)
        return report

    return judge
