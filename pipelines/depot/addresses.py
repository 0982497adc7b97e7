"""Where a depot and its register are, from what somebody wrote and what the environment says."""

from __future__ import annotations

import os
from pathlib import Path

from pipelines.errors import Unusable

#: Names the register, if it is not beside the depot.
REGISTER_VARIABLE = "MANYSTRIDES_REGISTER"


def named_register() -> Path | None:
    """Where the register is, if the environment says so."""
    named = os.environ.get(REGISTER_VARIABLE)
    return Path(named).absolute() if named else None


def local_path(root: str) -> Path:
    """A path, or what a ``file://`` URL names. Raises Unusable for what is no folder of this machine."""
    if "://" not in root:
        return Path(root).absolute()
    import fsspec
    from fsspec.implementations.local import LocalFileSystem

    try:
        filesystem, path = fsspec.core.url_to_fs(root)
    except (ImportError, ValueError) as error:
        filesystem, path = error, ""
    if not isinstance(filesystem, LocalFileSystem):
        raise Unusable(
            f"The depot {root} is not a folder on this machine.",
            "a local or mounted folder; results are renamed into place in one step, which buckets cannot do.",
            "Give a path, and copy finished releases to the bucket.",
        )
    return Path(path)
