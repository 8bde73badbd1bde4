"""Counts that tests record as `counts` are printed at the end, from every process that runs tests."""


def pytest_terminal_summary(terminalreporter):
    reports = [report for outcome in ("passed", "failed") for report in terminalreporter.stats.get(outcome, [])]
    counts = sorted(value for report in reports for key, value in getattr(report, "user_properties", []) if key == "counts")
    if counts:
        terminalreporter.section("counts")
        for line in counts:
            terminalreporter.write_line(line)
