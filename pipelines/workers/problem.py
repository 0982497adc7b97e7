"""What every reader of a trial's files raises: the file cannot be used, and why."""

from __future__ import annotations

from typing import Any

from schemas.reading import Problem


class FileProblem(Exception):
    """A file that cannot be used. ``detail`` is a plain sentence without full stop."""

    def __init__(self, detail: str, problem: Problem = "malformed") -> None:
        super().__init__(detail)
        self.detail = detail
        self.problem: Problem = problem

    def __reduce__(self) -> tuple[Any, ...]:
        return (type(self), (self.detail, self.problem))
