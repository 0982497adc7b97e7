"""Opens a delivery in a worker process: what a sender made can then neither hang a run nor take the machine's memory.

What is read, and within which bounds, is in ``bag``; here is what follows when even those did not help.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from pipelines.identity.identifiers import NOBODY
from pipelines.identity.names import KnownNames
from pipelines.intake.bag import receive, refused
from pipelines.workers.isolation import Isolated
from schemas.received import Received
from schemas.study import Study


@dataclass(frozen=True)
class _Job:
    path: Path
    inbox_site: str
    work_dir: Path
    study: Study
    known: KnownNames


def open_delivery(
    isolated: Isolated, path: Path, inbox_site: str, work_dir: Path, study: Study, known: KnownNames = NOBODY
) -> tuple[Received, Path | None]:
    """As ``bag.receive``, within limits of time and memory.

    A delivery that exceeds one, or ends the process, has one problem and no payload. Raises OSError where the disk of
    this machine fails, and RuntimeError for a fault of ours, so that neither is laid at the sender's door.
    """
    quota = study.delivery
    ended = isolated.run(_open, _Job(path, inbox_site, work_dir, study, known), time_limit_s=quota.opening_time_limit_s)
    if ended.problem is None:
        if isinstance(ended.value, Exception):
            raise ended.value
        opened: tuple[Received, Path | None] = ended.value
        return opened
    shutil.rmtree(work_dir / "unpacked", ignore_errors=True)  # what the worker had written when it was ended
    expected = (
        f"the study asks for deliveries that open within {quota.opening_time_limit_s:g} s and "
        f"{study.trial_memory_limit_mb} MiB of memory; send it in parts"
    )
    return refused(path, inbox_site, f"it could not be opened: {ended.detail}", expected, study, known), None


def _open(job: _Job) -> tuple[Received, Path | None] | Exception:
    """Runs in the worker. What is raised here is no fault of the sender, and is handed back as it is."""
    try:
        return receive(job.path, job.inbox_site, job.work_dir, job.study, job.known)
    except MemoryError:
        raise
    except OSError as error:
        return OSError(error.errno, error.strerror or str(error))
    except Exception as error:
        return RuntimeError(f"{type(error).__name__} while a delivery was opened: {error}")
