"""Findings and ends of checks as the tests of what is done with them need them."""

from __future__ import annotations

from typing import Any

from checks.findings import CheckRun, Finding, Status
from checks.registry import Weight


def a_finding(weight: Weight | str = Weight.RETURNS, **changes: Any) -> Finding:
    """A finding on trial T1; ``changes`` set any of its fields."""
    usual: dict[str, Any] = {
        "finding_id": "f1",
        "delivery_id": "mill-001",
        "site": "mill",
        "trial_id": "T1",
        "check_name": "a_check",
        "file": None,
        "place": None,
        "seen": "Something was seen.",
        "expected": "Nothing was expected.",
        "remedy": "Look again.",
        "moment_s": None,
        "signal": None,
        "code_version": "1",
        "study_version": "1",
    }
    return Finding(weight=Weight(weight), **{**usual, **changes})


def a_check_run(status: Status | str, **changes: Any) -> CheckRun:
    """How ``a_check`` ended on trial T1; ``changes`` set any of its fields."""
    usual: dict[str, Any] = {
        "delivery_id": "mill-001",
        "check_name": "a_check",
        "subject": "T1",
        "reason": None,
        "rows_examined": 1,
        "finding_count": 0,
        "code_version": "1",
        "study_version": "1",
    }
    return CheckRun(status=Status(status), **{**usual, **changes})
