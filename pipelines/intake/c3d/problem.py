"""The one exception of C3D reading."""

from __future__ import annotations

from schemas.reading import Problem


class C3dProblem(Exception):
    """A file that cannot be read as C3D. ``detail`` is a plain sentence without full stop."""

    def __init__(self, detail: str, problem: Problem = "malformed") -> None:
        super().__init__(detail)
        self.detail = detail
        self.problem: Problem = problem

    def __reduce__(self) -> tuple:
        return (type(self), (self.detail, self.problem))
