"""How a study writes the codes of its runners, sessions and trials."""

from __future__ import annotations

import re

from pydantic import Field, field_validator

from schemas import fields
from schemas.settings import Settings

#: A longer text is nobody's code.
LONGEST_CODE = 64


class StudyCodes(Settings):
    """The forms of codes, each a regular expression that fits a whole code.

    A study that declares none is expected to write a prefix and a short number; see ``pipelines.identity.codes``.
    """

    runner: str = Field(
        default="",
        description="Regular expression that a runner's code fits as a whole, such as FS-[0-9]{2}. Codes of other forms are held until a person has looked at them. Left out, a prefix that all runners share and a number of up to five digits are expected.",
    )
    session: str = Field(
        default="",
        description="The same for sessions. Left out, the runner's code with short numbers, single letters beside them and known words is expected.",
    )
    trial: str = Field(default="", description="The same for trials.")

    @field_validator("runner", "session", "trial")
    @classmethod
    def _can_be_asked(cls, form: str) -> str:
        try:
            asked = re.compile(form)
        except re.error as error:
            raise ValueError(f"{form!r} is no regular expression: {error}") from None
        if form and asked.fullmatch("Ann Lee") is not None:
            raise ValueError(f"{form!r} fits any name; write prefix and number, such as FS-[0-9]{{2}}")
        return form

    def form_of(self, column: str) -> str:
        """The declared form of the codes in a column, such as participant_id; "" if there is none."""
        declared = {
            fields.PARTICIPANT_ID.name: self.runner,
            fields.SESSION_ID.name: self.session,
            fields.TRIAL_ID.name: self.trial,
        }
        return declared.get(column, "")
