"""Looks for identifying text inside one trial's recording files. Runs in an isolated worker, before anything else."""

from __future__ import annotations

from pathlib import Path

from pipelines.identity.c3d_texts import texts_of_c3d
from pipelines.identity.edf_texts import is_edf, texts_of_edf
from pipelines.identity.identifiers import NOBODY
from pipelines.identity.names import KnownNames
from pipelines.identity.texts import Text, identifying
from pipelines.identity.vocabulary import Vocabulary
from schemas.reading import Held, Identifying

#: Larger files are refused by their readers.
_MOST_BYTES = 1 << 30


def texts_of_file(data: bytes) -> list[Text]:
    """Every text of a recording file; of a file that is neither C3D nor EDF what can be read in it."""
    if is_edf(data):
        return list(texts_of_edf(data))
    return list(texts_of_c3d(data, _values_of(data)))


def identifying_in(path: Path, file: str, known: KnownNames = NOBODY) -> tuple[Identifying, ...]:
    """Where in the file at ``path`` something identifies somebody, with labels as they are: for its own laboratory.

    file: what it is called in messages.
    """
    if not path.is_file() or path.stat().st_size > _MOST_BYTES:
        return ()
    return identifying(file, iter(texts_of_file(path.read_bytes())), known)


def texts_in(
    path: Path, file: str, known: KnownNames, plain: Vocabulary
) -> tuple[tuple[Identifying, ...], tuple[Held, ...]]:
    """As ``identifying_in``, labels only where a profile or the trade knows them, and every text that does not fit.

    plain: the closed vocabulary that texts must fit.
    """
    if not path.is_file() or path.stat().st_size > _MOST_BYTES:
        return (), ()
    texts = texts_of_file(path.read_bytes())
    held = {t.text: Held(t.text, file, t.place) for t in texts if not (t.wide or plain.fits_as(t.text, t.field))}
    return identifying(file, iter(texts), known, plain.is_label), tuple(held.values())


def _values_of(data: bytes) -> tuple[int, int] | None:
    """The bytes of the measured values of a C3D file; None if the file is damaged."""
    import numpy as np

    from pipelines.intake.c3d.layout import read_layout
    from pipelines.intake.c3d.problem import C3dProblem

    try:
        with np.errstate(all="ignore"):
            counts = read_layout(data).counts
    except C3dProblem:
        return None
    return counts.data_start, counts.data_start + counts.frames * counts.frame_bytes
