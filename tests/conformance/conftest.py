"""Counts that tests record as `counts` are printed at the end, from every process that runs tests; and a browser gets a second attempt.

A browser on a busy machine can time out in ways that no check of ours sets. A check in the group `browser` that fails runs once more. The
first failure is printed whole at the end, so that a race in the program is seen, and a check that fails twice has failed.
"""

import pytest


def pytest_collection_modifyitems(items):
    for item in items:
        if any(mark.args[:1] == ("browser",) for mark in item.iter_markers("xdist_group")):
            item.add_marker(pytest.mark.flaky(reruns=1))


def pytest_terminal_summary(terminalreporter):
    reports = [report for outcome in ("passed", "failed") for report in terminalreporter.stats.get(outcome, [])]
    counts = sorted(value for report in reports for key, value in getattr(report, "user_properties", []) if key == "counts")
    if counts:
        terminalreporter.section("counts")
        for line in counts:
            terminalreporter.write_line(line)
    again = terminalreporter.stats.get("rerun", [])
    if again:
        terminalreporter.section(f"first attempts that failed: {len(again)}")
        for report in again:
            terminalreporter.write_line(report.nodeid)
            terminalreporter.write_line(report.longreprtext)
