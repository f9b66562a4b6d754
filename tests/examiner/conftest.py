"""The two rates of the corpus, at the end of a run."""

from collections import Counter
from typing import Any


def pytest_terminal_summary(terminalreporter: Any) -> None:
    counted: dict[str, Counter[str]] = {"lawful": Counter(), "changed": Counter()}
    for reports in terminalreporter.stats.values():
        for report in reports:
            if getattr(report, "when", "") == "call":
                for key, outcome in report.user_properties:
                    if key in counted:
                        counted[key][outcome] += 1
    for key, outcomes in counted.items():
        if total := outcomes.total():
            rates = ", ".join(
                f"{outcome} {count} ({count / total:.1%})" for outcome, count in sorted(outcomes.items())
            )
            terminalreporter.write_line(f"examiner, {total} {key} records: {rates}")
