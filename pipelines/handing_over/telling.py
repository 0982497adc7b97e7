"""Who hears of a run, and of what not yet: each server is told of each result once, and again until it has heard.

A server that cannot be reached stops nothing: it is told what happened to the person at the terminal, and the next run
tries again. What was told the books know (``builds``), by the delivery and the word of its result.
"""

from __future__ import annotations

import json
import logging
import os
import smtplib
import ssl
import threading
from collections.abc import Callable, Iterator
from email.message import EmailMessage
from http.client import HTTPException
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit
from urllib.request import HTTPRedirectHandler, Request, build_opener

from pipelines import logs
from pipelines.depot.books.rows import Record
from pipelines.handing_over.notices import Notice, is_told, of_delivery

if TYPE_CHECKING:
    from pipelines.depot.desk import Desk
    from schemas.handover import HandOver, MailServer, Webhook

log = logging.getLogger(__name__)
_WAIT_S = 10.0  # for the next byte
_WHOLE_S = 30.0  # for one notice, since a server may send a byte now and then for ever (own choice)
#: Holds the password of the mail server, if no file does.
PASSWORD_VARIABLE = "MANYSTRIDES_MAIL_PASSWORD"
Send = Callable[[Notice], None]


def tell(desk: Desk) -> list[str]:
    """Tell whoever the settings name of results they have not heard of; a line for each that could not be told."""
    servers = _servers(desk.study.hand_over, desk.study.path.parent)
    return [line for name, where, send in servers for line in _tell(desk, name, where, send)]


def _servers(settings: HandOver, folder: Path) -> Iterator[tuple[str, str, Send]]:
    """A short name, where it is, and how it is told. folder: of the settings."""
    if (webhook := settings.webhook) is not None:
        yield "webhook", urlsplit(webhook.url).hostname or "", lambda notice: _post(webhook, notice)
    if (mail := settings.mail) is not None:
        yield "mail", mail.host, lambda notice: send_mail(mail, settings.sender, notice, folder)


def _tell(desk: Desk, name: str, where: str, send: Send) -> Iterator[str]:
    builds, news = desk.books.builds, dict[str, list[Record]]()
    for record in desk.books.deliveries.all():
        if is_told(record) and builds.made_from(_what(name, record)) != record.result:
            news.setdefault(str(record.site), []).append(record)
    sites = sorted(news)
    for place, site in enumerate(sites):
        records = news[site]
        told = tuple(of_delivery(record, desk.books.trials.of_delivery(record.delivery_id)) for record in records)
        try:
            within_time(send, Notice(desk.study.study.title, site, told))
        except (OSError, HTTPException, smtplib.SMTPException, ValueError) as error:
            log.warning("A server could not be told of a run.", extra=logs.facts(site=site))
            left = ", ".join(sites[place:])
            yield f"NOT TOLD of {left}: the {name} at {where} ({_reason(error)}). The next run tries again."
            return
        with desk.books.transaction():
            for record in records:
                builds.put(record.result, what=_what(name, record))


def within_time(send: Send, notice: Notice) -> None:
    """Send it, and raise what that raises, or TimeoutError: then it is told again, though the server may have heard it.

    What still waits for the server is a thread that ends with this process, and changes nothing.
    """
    failed: list[Exception] = []

    def work() -> None:
        try:
            send(notice)
        except Exception as error:  # raised again by whoever waits
            failed.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(_WHOLE_S)
    if failed:
        raise failed[0]
    if thread.is_alive():
        raise TimeoutError(f"it has not answered whole after {_WHOLE_S:g} s")


def _what(name: str, record: Record) -> str:
    return f"{name} {record.delivery_id}"


def _reason(error: Exception) -> str:
    if isinstance(error, HTTPError):
        return f"it answered {error.code}"
    if isinstance(error, URLError):
        return str(error.reason)
    return str(error) or type(error).__name__


class _NoOtherPlace(HTTPRedirectHandler):
    """What is told goes to the place that the settings name and nowhere else."""

    def redirect_request(self, *_: object) -> None:
        return None


def _post(webhook: Webhook, notice: Notice) -> None:
    content = json.dumps(notice.plain()).encode()
    request = Request(webhook.url, content, {"Content-Type": "application/json"}, method="POST")
    with build_opener(_NoOtherPlace).open(request, timeout=_WAIT_S):
        pass


def send_mail(server: MailServer, sender: str, notice: Notice, folder: Path) -> None:
    """Hand a notice over to a mail server. folder: in which a password file is looked for.

    Raises OSError, SMTPException, or ValueError without a password that may be used.
    """
    password = _password(server, folder) if server.user else ""
    mail = EmailMessage()
    mail["From"], mail["To"] = sender, server.to
    mail["Subject"] = f"{notice.study}: news of {notice.site}"
    mail.set_content(notice.text())
    with smtplib.SMTP(server.host, server.port, timeout=_WAIT_S) as line:
        if server.encrypted == "starttls":
            line.starttls(context=ssl.create_default_context())
        if server.user:
            line.login(server.user, password)
        line.send_message(mail)


def _password(server: MailServer, folder: Path) -> str:
    """Of the environment, or of a file that its owner alone may read. Raises OSError or ValueError."""
    if given := os.environ.get(PASSWORD_VARIABLE):
        return given
    if not server.password_file:
        raise ValueError(f"it asks for a password: set {PASSWORD_VARIABLE}, or name a password_file")
    path = folder / server.password_file
    with path.open(encoding="utf-8") as stream:
        if os.name == "posix" and os.fstat(stream.fileno()).st_mode & 0o077:
            raise ValueError(f"others may read {path}: chmod 600 it")
        password = stream.readline().strip("\r\n")
    if not password:
        raise ValueError(f"the first line of {path} is empty")
    return password
