"""What ``handover.yaml`` beside the study file sets: addresses for drafts of mails, and who hears of a run. All of it off.

Addresses are people's, and so no part of the study file, which releases carry along.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field, field_validator, model_validator

from schemas.settings import Settings

_THIS_MACHINE = ("localhost", "127.0.0.1", "::1")


class Webhook(Settings):
    """A server that hears of a run: for each site a JSON object with ids of deliveries and counts, nothing of a runner."""

    url: str = Field(
        pattern=r"^https?://[^\s/]+", description="Its address, https, or http within one's own network; by POST."
    )


class MailServer(Settings):
    """A mail server that takes a notice with the same facts; the letter itself is never handed over."""

    host: str = Field(min_length=1, description="Its name.")
    port: int = Field(default=25, ge=1, le=65535, description="Its port.")
    encrypted: Literal["starttls", "no"] = Field(
        default="starttls", description="How the line is protected; no only on one's own machine or network."
    )
    to: str = Field(description="Address of who hears of it, for example the data manager's.")
    user: str = Field(
        default="",
        description="Who logs in; empty for a server that takes mail from this machine without. The password stands in the environment variable MANYSTRIDES_MAIL_PASSWORD or in password_file, never here.",
    )
    password_file: str = Field(
        default="",
        description="File with the password on its first line, that its owner alone may read (mode 600); beside this file, or a whole path.",
    )

    @field_validator("to")
    @classmethod
    def _one_recipient(cls, value: str) -> str:
        return _one_address(value)

    @model_validator(mode="after")
    def _no_password_in_the_open(self) -> MailServer:
        if self.user and self.encrypted == "no" and self.host not in _THIS_MACHINE:
            raise ValueError("a password would travel readable: with user, encrypted must be starttls")
        if self.password_file and not self.user:
            raise ValueError("password_file is given, and no user")
        return self


class HandOver(Settings):
    """Addresses, and who hears of a run."""

    sender: str = Field(default="", description="Address that drafts and notices come from.")
    sites: dict[str, str] = Field(default_factory=dict, description="Address of each site, for the drafts alone.")
    webhook: Webhook | None = Field(default=None, description="A server that hears of a run; left out, none does.")
    mail: MailServer | None = Field(default=None, description="A mail server for notices; left out, none is sent.")

    @field_validator("sender")
    @classmethod
    def _one_sender(cls, value: str) -> str:
        return _one_address(value) if value else value

    @field_validator("sites")
    @classmethod
    def _one_each(cls, value: dict[str, str]) -> dict[str, str]:
        return {site: _one_address(address) for site, address in value.items()}


def _one_address(text: str) -> str:
    local, at, domain = text.partition("@")
    if not (local and at and domain) or any(c.isspace() or c in ',;<>"' for c in text) or not text.isascii():
        raise ValueError(f"{text!r} is not one plain address such as lead@lab.example")
    return text
