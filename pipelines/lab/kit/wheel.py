"""The file that a laboratory installs manystrides from: looked into before it is enclosed in a kit."""

from __future__ import annotations

import io
import zipfile
from email.parser import BytesHeaderParser
from importlib.metadata import version
from pathlib import Path

from pipelines.errors import Unusable
from pipelines.study.reading import read_bytes

_OURS = "manystrides"


def usual_name() -> str:
    """How the file of this version is called, as ``make wheel`` makes it."""
    return f"{_OURS}-{version(_OURS)}-py3-none-any.whl"


def wheel_bytes(path: Path) -> bytes:
    """The bytes of a wheel of manystrides. Raises Unusable if the file is none, or one that pip would refuse."""
    if path.suffix != ".whl" or not path.is_file():
        raise _refused("It is no wheel.", path)
    content = read_bytes(path, "wheel")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as opened:
            (metadata,) = [n for n in opened.namelist() if n.endswith(".dist-info/METADATA") and n.count("/") == 1]
            if opened.testzip() is not None:
                raise _refused("It is damaged.", path)
            told = BytesHeaderParser().parsebytes(opened.read(metadata))
    except (zipfile.BadZipFile, ValueError, EOFError, NotImplementedError):
        raise _refused("It is called a wheel and cannot be opened as one.", path) from None
    if str(told["Name"]).lower() != _OURS:
        raise _refused(f"It is a wheel of {told['Name']}.", path)
    if not path.name.startswith(f"{_OURS}-{told['Version']}-"):
        raise _refused(f"It was renamed: its version is {told['Version']}, and pip goes by the name.", path)
    return content


def _refused(seen: str, path: Path) -> Unusable:
    return Unusable(seen, f"a file as make wheel makes it, such as {usual_name()}.", "Correct --wheel.", file=path)
