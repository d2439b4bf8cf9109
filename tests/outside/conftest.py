"""Prints what `report` gathered, after the tests and before pytest's closing line."""

import report


def pytest_terminal_summary(terminalreporter):
    if report.LINES:
        terminalreporter.section("measured")
        for text in report.LINES:
            terminalreporter.write_line(text)
