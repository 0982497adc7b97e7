"""Who takes part: everybody that a delivery names and consent allows to count, and how far each came. Layer: outcome."""

from __future__ import annotations

from dataclasses import replace

from schemas import fields as f
from schemas.leaving import Leaves
from schemas.model import Code, Field, Kind, Layer, Table
from schemas.outcomes_study import STUDY_PROVENANCE
from schemas.privacy import NOBODYS, PLAIN, RUNNER, Rows

ENROLLED_RUNNERS = Table(
    name="enrolled_runners",
    layer=Layer.OUTCOME,
    one_row_is="one runner whom one delivery names and whose consent to pooling is in force, with or without a trial",
    key=("participant_id", "delivery_id"),
    rows=Rows(RUNNER),
    leaves=Leaves("participant_id delivery_id site code_version study_version"),
    fields=(f.PARTICIPANT_ID, f.DELIVERY_ID, f.SITE, *STUDY_PROVENANCE),
    notes="The denominator of everything: runners holds only those with an accepted trial. A runner who withdrew is in "
    "neither.",
)

PARTICIPANT_FLOW = Table(
    name="participant_flow",
    layer=Layer.OUTCOME,
    one_row_is="how many runners came how far, at one site or at all of them",
    key=("site", "stage"),
    rows=NOBODYS,
    leaves=Leaves("site stage runner_count code_version study_version"),
    fields=(
        replace(
            f.SITE,
            kind=Kind.TEXT,
            study_list=None,
            description="Site, or all sites, where a runner counts once however many he or she was at.",
        ),
        Field(
            "stage",
            Kind.CODE,
            "How far.",
            codes=(
                Code("enrolled", "A delivery names the runner, and consent to pooling is in force."),
                Code(
                    "not_sent",
                    "Of the enrolled: no running trial that may be shown; none came, or consent withholds all.",
                ),
                Code("sent", "Of the enrolled: at least one running trial came that may be shown."),
                Code("none_accepted", "Of those: every running trial went back and has not been sent again."),
                Code("accepted", "Of those: at least one running trial is in the pool."),
                Code("compared", "Of those: at least one difference between conditions or visits, of any outcome."),
                Code("not_compared", "Of the accepted: no difference, since nothing was measured on both sides."),
            ),
            privacy=PLAIN,
        ),
        Field("runner_count", Kind.INTEGER, "Runners.", low=0, privacy=PLAIN),
        *STUDY_PROVENANCE,
    ),
    notes="How many of the accepted are in each planned analysis, and why the others are not, is in planned_participants.",
)
