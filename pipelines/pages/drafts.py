"""The letter to a laboratory as a draft of a mail (RFC 5322, a file .eml), with its parcel. Nothing is sent.

No recipient and no sender are invented: where the settings name none, the mail program asks for them.
"""

from __future__ import annotations

from datetime import UTC, datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

#: Larger ones are not enclosed: many mail servers take 10 to 25 MB, and enclosing makes a third more of it (common
#: practice).
_MOST_BYTES = 7_000_000
_SUBJECT = "Subject: "


def draft(letter: str, parcel: bytes, enclosed_as: str, word: str, when: datetime, to: str, sender: str) -> bytes:
    """The mail. letter: its first line the subject. word: hex digits of what it is made from. when: its date.

    to, sender: addresses, empty for none.
    """
    subject, _, body = letter.partition("\n")
    mail = EmailMessage(policy=SMTP)
    mail["Subject"] = subject.removeprefix(_SUBJECT)
    mail["Date"] = format_datetime(when.astimezone(UTC))
    if sender:
        mail["From"] = sender
    if to:
        mail["To"] = to
    mail["X-Unsent"] = "1"  # mail programs that know this open it to be written on
    told = body.lstrip("\n")
    if len(parcel) > _MOST_BYTES:
        told += f"\nThe parcel {enclosed_as} is too large for a mail and comes to you in another way.\n"
    mail.set_content(told, cte="quoted-printable")
    if len(parcel) <= _MOST_BYTES:
        mail.add_attachment(parcel, maintype="application", subtype="zip", filename=enclosed_as)
        mail.set_boundary(f"=={word[:32]}==")  # else a random one: the same mail is the same bytes
    return mail.as_bytes()
