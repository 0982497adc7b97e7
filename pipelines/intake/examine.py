"""Looks through a bag's folder: its files with their checksums, and all that is wrong with it, BagIt's rules first."""

from __future__ import annotations

from pathlib import Path

from pipelines.intake.bag_files import BagFiles, compute_digests, files_of
from pipelines.intake.bag_policy import name_not_taken, policy_problems
from pipelines.intake.bagit_rules import bagit_problems, read_manifests
from pipelines.intake.litter import is_litter
from schemas.quota import Quota
from schemas.received import Problem


def examine(root: Path, quota: Quota) -> BagFiles:
    """Every file of the bag with its size and checksums (SHA-256 always), and all problems of kind "bag".

    Never raises on what a sender may have made. Files whose path is not one to be kept (links, control characters) are
    a problem and not listed; of a bag larger than ``quota`` only that is told, and nothing is read.
    """
    found = files_of(root, quota)
    if found.too_much:
        found.keep_only(())
        expected = f"the study asks for at most {quota.most_files} files and {quota.most_mib:g} MiB in one delivery"
        found.problems = [Problem("bag", found.too_much, expected)]
        return found
    compute_digests(root, found)
    manifests, lines_at_fault = read_manifests(root, found)
    listed = {path for manifest in manifests for path in manifest.listed}
    found.litter = [path for path in found.sizes if is_litter(path) and path not in listed]
    found.keep_only(found.sizes.keys() - set(found.litter))
    found.problems = [
        *lines_at_fault,
        *bagit_problems(root, found, manifests),
        *policy_problems(root, found, manifests),
    ]
    found.keep_only(path for path in found.sizes if not name_not_taken(path))
    return found
