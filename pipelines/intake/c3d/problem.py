"""The one exception of C3D reading."""

from __future__ import annotations

from pipelines.workers.problem import FileProblem


class C3dProblem(FileProblem):
    """A file that cannot be read as C3D."""
