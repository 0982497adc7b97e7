"""Whether consent covers the trial."""

from __future__ import annotations

import pytest

from checks.registry import Weight
from tests.builders import a_study
from tests.checks.received_builders import SCOPES, SESSION, a_consent, a_delivery
from tests.checks.running_checks import Case, of_delivery, run, status

NAME = "consent_covers_the_trial"


def with_consents(*consents: dict, **changes):
    return of_delivery(a_delivery(sent_consents=list(consents), **changes))


PLANTED = {
    NAME: Case(
        lambda: with_consents(*(a_consent(s) for s in SCOPES), a_consent("pooling", "withdrawn", day=0)),
        "trial_id T0",
        findings=2,
    )
}
CLEAN = {NAME: lambda: of_delivery(a_delivery())}


@pytest.mark.parametrize("scope", SCOPES)
def test_a_scope_that_was_never_given_withholds_every_trial(scope: str) -> None:
    report = run(NAME, with_consents(*(a_consent(s) for s in SCOPES if s != scope)))
    assert [(f.trial_id, f.weight) for f in report.findings] == [
        ("T0", Weight.WITHHOLDS),
        ("T1", Weight.WITHHOLDS),
    ]
    assert scope in report.findings[0].seen


def test_consent_given_after_the_session_does_not_cover_it() -> None:
    assert status(NAME, with_consents(*(a_consent(s, day=1) for s in SCOPES))) == "found"


def test_consent_withdrawn_after_the_session_covers_it() -> None:
    given = [a_consent(s) for s in SCOPES]
    assert status(NAME, with_consents(*given, a_consent("force", "withdrawn", day=5))) == "pass"


@pytest.mark.parametrize("changes", [{"sent_sessions": []}, {"sent_sessions": [{**SESSION, "study_day": None}]}])
def test_a_trial_whose_day_is_not_known_is_withheld(changes: dict) -> None:
    assert status(NAME, of_delivery(a_delivery(**changes))) == "found"


def test_a_session_that_stands_twice_needs_the_consent_of_both_runners() -> None:
    sessions = [{**SESSION, "participant_id": "P2"}, SESSION]
    assert status(NAME, of_delivery(a_delivery(sent_sessions=sessions))) == "found"


def test_a_lab_without_force_plates_needs_no_consent_for_force() -> None:
    study = a_study()
    site = study.sites["mill"]
    plain = site.model_copy(
        update={"profile": site.profile.model_copy(update={"plate_types": (), "force_rate_hz": None})}
    )
    study = study.model_copy(update={"sites": {**study.sites, "mill": plain}})
    received = a_delivery(sent_consents=[a_consent("motion"), a_consent("pooling")])
    assert status(NAME, of_delivery(received, study)) == "pass"
    assert status(NAME, of_delivery(received)) == "found"


def test_of_very_many_lines_under_codes_of_nobody_the_first_are_told_and_the_rest_counted() -> None:
    strangers = [{**a_consent("motion", "withdrawn"), "participant_id": f"X{n:04}"} for n in range(300)]
    report = run(NAME, with_consents(*(a_consent(s) for s in SCOPES), *strangers))
    told = [f.seen for f in report.findings if "no runner's" in f.seen]
    assert len(told) == 21
    assert "280 more rows of consents.csv" in told[-1]
