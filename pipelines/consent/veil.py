"""Which words of a delivery may not be shown, because consent covers nothing behind them; and the taking out of them.

A withheld trial goes by a name of its own in every table (``withheld_names``); ids and files of withheld runners are
taken out of findings about the delivery, and files no consent covers are not listed. What is withheld is decided in
``checks.consent.covers`` and ``pipelines.taking_in.keeping``.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from checks.findings import Finding
from checks.registry import Subject, Weight, catalogue
from schemas.consent import Consent
from schemas.received import PayloadFile

HIDDEN = "(withheld)"
#: A run of letters and digits, or one other sign.
_TOKENS = re.compile(r"[^\W_]+|[\W_]")
_LETTER = re.compile(r"[^\W_]")
_SENTENCES = ("seen", "expected", "remedy")
_SHOWN_TEXTS = ("file", "place", *_SENTENCES, "signal")


def withheld_names(delivery_id: str, withheld: Iterable[str]) -> dict[str, str]:
    """Trial id -> the name a withheld trial goes by: its place among the delivery's withheld ones."""
    return {trial: f"{delivery_id}.withheld-{n}" for n, trial in enumerate(sorted(withheld), start=1)}


@dataclass(frozen=True)
class Veil:
    """What of a delivery may not be shown. files: payload paths; words: ids and paths; trials: ids of withheld ones.

    marks: texts that nobody has looked at -> what is shown instead.
    """

    files: frozenset[str] = frozenset()
    words: frozenset[str] = frozenset()
    trials: frozenset[str] = frozenset()
    names: dict[str, str] = field(default_factory=dict)
    marks: Mapping[str, str] = field(default_factory=dict, repr=False)

    def files_shown(self, files: Iterable[PayloadFile]) -> list[PayloadFile]:
        """Payload files without those of withheld trials."""
        return [f for f in files if f.path not in self.files]

    def findings(self, findings: Iterable[Finding]) -> list[Finding]:
        """Findings with every hidden word taken out; of a withheld trial only that it is withheld, once."""
        shown: dict[str, Finding] = {}
        for finding in findings:
            trial = finding.trial_id
            if trial in self.trials:
                if finding.weight is not Weight.WITHHOLDS or trial not in self.names:
                    continue
                finding = replace(finding, trial_id=self.names[trial], place=_place_inside(finding))
            veiled = self._veiled(finding)
            shown.setdefault(veiled.finding_id, veiled)
        return list(shown.values())

    def _veiled(self, finding: Finding) -> Finding:
        if not self.words and not self.marks:
            return finding
        own = {n: text for n in _SHOWN_TEXTS if isinstance(text := getattr(finding, n), str)}
        texts: dict[str, Any] = {n: self._sentence(finding, n, text) for n, text in own.items()}
        if texts == own and finding.weight is not Weight.WITHHOLDS:
            return finding
        # an id made from hidden words could be made again from guesses
        identity = (finding.delivery_id, finding.trial_id, finding.check_name, texts)
        return replace(
            finding, finding_id=hashlib.sha256(repr(identity).encode()).hexdigest()[:16], spans=None, **texts
        )

    def _sentence(self, finding: Finding, name: str, text: str) -> str:
        """One text of a finding: words of its own sentence stay, though a held text may be the same word."""
        if finding.spans is None or name not in _SENTENCES:
            return self.text(text)
        made, at = "", 0
        for start, end in sorted((start, end) for own, start, end in finding.spans if own == name):
            made += text[at:start] + self.text(text[start:end])
            at = end
        return made + text[at:]

    def text(self, text: str) -> str:
        """``text`` with every hidden word replaced that stands in it by itself: of several the first, then the longest.

        The time it takes grows with the text and not with the words, of which a sender may send as many as may be read.
        """
        if not self._lengths:
            return text
        made, at, after = [], 0, False  # after: whether a letter or digit stands before
        for token in _TOKENS.finditer(text):
            if token.start() < at:
                continue
            shown = None if after else self._shown(text, token.start(), token[0])
            word, instead = shown or (token[0], token[0])
            made.append(instead)
            at += len(word)
            after = bool(_LETTER.match(word[-1]))
        return "".join(made)

    def _shown(self, text: str, at: int, token: str) -> tuple[str, str] | None:
        """The longest hidden word that stands in ``text`` there and what is shown instead; None if there is none."""
        for length in self._lengths.get(token, ()):
            word, end = text[at : at + length], at + length
            if end <= len(text) and (end == len(text) or not _LETTER.match(text[end])):
                if word in self.words:
                    return word, HIDDEN
                if word in self.marks:
                    return word, self.marks[word]
        return None

    @cached_property
    def _lengths(self) -> Mapping[str, list[int]]:
        """How the hidden words begin, as in ``_TOKENS`` -> their lengths, the longest first."""
        found: dict[str, set[int]] = {}
        for word in (*self.words, *self.marks):
            if begins := _TOKENS.match(word):
                found.setdefault(begins[0], set()).add(len(word))
        return {begins: sorted(lengths, reverse=True) for begins, lengths in found.items()}


def _place_inside(finding: Finding) -> str | None:
    """Where a withheld trial's recording says too much, for its laboratory to mend; a table's row tells whose it is."""
    spec = catalogue().get(finding.check_name)
    return finding.place if spec is not None and spec.about is Subject.READING else None


def veil_of(delivery_id: str, consent: Consent, *, named: bool = True, marks: Mapping[str, str] | None = None) -> Veil:
    """What may not be shown of a delivery. named: withheld trials appear, under another name; else not at all.

    marks: of texts that nobody has looked at.
    """
    names = withheld_names(delivery_id, consent.withheld) if named else {}
    return Veil(consent.hidden_files, consent.hidden, consent.withheld, names, marks or {})
