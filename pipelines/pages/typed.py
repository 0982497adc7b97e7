"""Commands that a page offers, ready to be copied: whole, from whatever folder they are typed."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Typed:
    """Commands about one depot. depot, study: its folder and the study file, as absolute paths."""

    depot: Path
    study: Path

    def accept(self, trial_id: str, check_name: str) -> str:
        """Accept a trial in spite of one check; reason and name are the reader's own."""
        words = f"accept {shlex.quote(trial_id)} --check {check_name} --why 'REASON' --as 'NAME'"
        return f"manystrides {words} {self._study} {self._depot}"

    def send(self, site: str) -> str:
        """Write the parcel for a site."""
        to = shlex.quote(f"{site}-returns.zip")
        return f"manystrides send {shlex.quote(site)} --to {to} {self._study} {self._depot}"

    def followed_up(self, runner: str, week: int) -> str:
        """Note that a caution was followed up; the name is the reader's own."""
        return f"manystrides followed-up {shlex.quote(runner)} --week {week} --as 'NAME' {self._study} {self._depot}"

    @property
    def looked(self) -> str:
        """Note that the list of cautions was looked through."""
        return f"manystrides followed-up --looked --as 'NAME' {self._study} {self._depot}"

    @property
    def texts(self) -> str:
        """List the texts that wait for a look."""
        return f"manystrides texts list {self._depot}"

    @property
    def _depot(self) -> str:
        return f"--depot {shlex.quote(str(self.depot))}"

    @property
    def _study(self) -> str:
        return f"--study {shlex.quote(str(self.study))}"
