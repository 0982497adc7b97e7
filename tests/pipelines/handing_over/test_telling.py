"""Who hears of a run hears counts and ids of deliveries, once, and again if the server was away; nobody by default."""

from __future__ import annotations

import base64
import json
import os
import shutil
import smtplib
import socketserver
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from pipelines.assets.run import run
from pipelines.errors import Unusable
from pipelines.handing_over import telling
from pipelines.handing_over.notices import Notice, OfDelivery, of_delivery
from pipelines.handing_over.telling import PASSWORD_VARIABLE, send_mail
from pipelines.study.file import load_study
from schemas.handover import MailServer
from tests.delivery_builders import STUDY, a_delivery


@dataclass
class Heard:
    """What local servers were told. answer: of the web server."""

    posts: list[dict[str, Any]] = field(default_factory=list)
    mails: list[str] = field(default_factory=list)
    answer: int = 204


@contextmanager
def served(server: socketserver.BaseServer) -> Iterator[int]:
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server.server_address[1]  # type: ignore[index]
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@contextmanager
def web(heard: Heard, port: int = 0) -> Iterator[int]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            content = self.rfile.read(int(self.headers["Content-Length"]))
            if heard.answer < 300:
                heard.posts.append(json.loads(content))
            self.send_response(heard.answer)
            self.send_header("Location", "/elsewhere")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    with served(ThreadingHTTPServer(("127.0.0.1", port), Handler)) as at:
        yield at


@contextmanager
def mail_server(heard: Heard, login: str = "") -> Iterator[int]:
    """login: user and password, with a colon between, without which it takes no mail."""

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self.wfile.write(b"220 here\r\n")
            known = not login
            while line := self.rfile.readline():
                word = line[:4].upper()
                if login and word == b"EHLO":
                    self.wfile.write(b"250-here\r\n250 AUTH PLAIN\r\n")
                    continue
                if word == b"AUTH":
                    known = base64.b64decode(line.split()[2]).decode() == "\0" + login.replace(":", "\0")
                    self.wfile.write(b"235 known\r\n" if known else b"535 not known\r\n")
                    continue
                if not known and word in (b"MAIL", b"RCPT", b"DATA"):
                    self.wfile.write(b"530 log in first\r\n")
                    continue
                if word == b"DATA":
                    self.wfile.write(b"354 go on\r\n")
                    lines = iter(self.rfile.readline, b".\r\n")
                    heard.mails.append(b"".join(lines).decode())
                self.wfile.write(b"221 bye\r\n" if word == b"QUIT" else b"250 good\r\n")
                if word == b"QUIT":
                    return

    with served(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)) as at:
        yield at


@pytest.fixture
def study(tmp_path: Path) -> Path:
    shutil.copytree(STUDY.parent / "sites", tmp_path / "sites")
    return Path(shutil.copy(STUDY, tmp_path / "study.yaml"))


def hand_over(study: Path, *lines: str) -> None:
    study.with_name("handover.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_each_result_is_told_once_and_again_until_the_server_has_heard_it(study: Path, tmp_path: Path) -> None:
    heard, inbox, depot = Heard(answer=302), tmp_path / "inbox", tmp_path / "depot"
    a_delivery(inbox, runners=("FS-01", "FS-02"), faulty={"1": "heavy"}, arrives_as="a name of somebody")
    with web(heard) as port, mail_server(heard) as mail_port:
        hand_over(
            study,
            "sender: data@study.example",
            "sites: {brack: lead@brack.example}",
            f"webhook: {{url: 'http://127.0.0.1:{port}/secret-word'}}",
            f"mail: {{host: 127.0.0.1, port: {mail_port}, encrypted: 'no', to: boss@study.example}}",
        )
        first = run(study, inbox, depot, "tester", workers=1)
        assert first.exit_code == 0, "who cannot be told stops nothing"
        assert "NOT TOLD of brack: the webhook at 127.0.0.1 (it answered 302)" in first.text()
        assert "secret-word" not in first.text()
        assert heard.posts == []
    away = run(study, inbox, depot, "tester", workers=1)
    assert "NOT TOLD of brack" in away.text()
    assert not away.built
    heard.answer = 204
    with web(heard, port):
        second = run(study, inbox, depot, "tester", workers=1)
        assert "Nothing new" in second.text()
        assert "NOT TOLD" not in second.text()
        run(study, inbox, depot, "tester", workers=1)
    counts = {"delivery": "brack-001", "status": "taken_in", "accepted": 2, "returned": 2, "withheld": 0}
    assert heard.posts == [{"study": "The Fellside footwear study", "site": "brack", "deliveries": [counts]}]
    (mail,) = heard.mails
    assert "To: boss@study.example" in mail
    assert "brack-001: taken in; 2 accepted, 2 returned, 0 withheld" in mail
    for told in (mail, json.dumps(heard.posts)):
        assert "FS-0" not in told
        assert "somebody" not in told
        assert "lead@brack.example" not in told
    assert "To: lead@brack.example" in (depot / "outbox" / "brack" / "letter.eml").read_text()


def test_a_delivery_without_a_number_is_told_by_its_site_alone(study: Path) -> None:
    from pipelines.depot.books.rows import Record

    record = Record("brack-unnumbered-jane-doe", "brack/jane doe", "stopped", "brack", None, "", "", "", "", "")
    assert of_delivery(record, []).delivery == "brack"


def test_a_server_that_sends_a_byte_now_and_then_holds_nobody_up(study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each byte comes in time, and the answer never does."""
    ended = threading.Event()

    class Drips(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            with suppress(OSError):
                for byte in b"HTTP/1.1 204 " + b"x" * 600:
                    self.request.sendall(bytes([byte]))
                    if ended.wait(0.1):
                        return

    monkeypatch.setattr(telling, "_WHOLE_S", 1.0)
    with served(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Drips)) as port:
        with (study.parent / "handover.yaml").open("a", encoding="utf-8") as settings:
            settings.write(f"webhook:\n  url: http://127.0.0.1:{port}/news\n")
        webhook = load_study(study).hand_over.webhook
        assert webhook is not None
        began = time.monotonic()
        with pytest.raises(TimeoutError, match="not answered whole after 1 s"):
            telling.within_time(lambda notice: telling._post(webhook, notice), Notice("A study", "brack", ()))
        assert time.monotonic() - began < 5
        ended.set()


def test_nobody_is_told_by_default(study: Path) -> None:
    settings = load_study(study).hand_over
    assert (settings.webhook, settings.mail, settings.sender, settings.sites) == (None, None, "", {})


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["webhook: {url: 'ftp://x'}"], "webhook.url"),
        (["sites: {moon: a@b.example}"], "sites.moon is no site|sites.moon"),
        (["sites: {brack: 'a@b.example, c@d.example'}"], "not one plain address"),
        (["sender: 'Ann <ann@study.example>'"], "not one plain address"),
        (["mail: {host: localhost, to: a@b.example}"], "sender"),
        (["password: x"], "is not a setting"),
        (
            ["sender: a@b.example", "mail: {host: m.example, to: a@b.example, user: a, password: x}"],
            "mail.password: This setting is not a setting",
        ),
        (
            ["sender: a@b.example", "mail: {host: m.example, to: a@b.example, user: a, encrypted: 'no'}"],
            "would travel readable",
        ),
        (["sender: a@b.example", "mail: {host: m.example, to: a@b.example, password_file: x}"], "no user"),
    ],
)
def test_settings_that_cannot_be_used_are_refused(study: Path, lines: list[str], said: str) -> None:
    hand_over(study, *lines)
    with pytest.raises(Unusable, match=said):
        load_study(study)


NOTICE = Notice("A study", "brack", (OfDelivery("brack-001", "taken_in", 2, 0, 0),))


def test_a_mail_server_that_asks_for_a_login_gets_it_from_the_environment_or_from_a_file_of_its_owner(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    heard, secret = Heard(), tmp_path / "mail.password"
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)
    with mail_server(heard, "data:pass word") as port:
        own = {"host": "127.0.0.1", "port": port, "encrypted": "no", "to": "boss@study.example", "user": "data"}
        server = MailServer.model_validate({**own, "password_file": secret.name})

        def send(to: MailServer = server) -> None:
            send_mail(to, "data@study.example", NOTICE, tmp_path)

        with pytest.raises(FileNotFoundError):
            send()
        secret.write_text("pass word\n")
        secret.chmod(0o640)
        with pytest.raises(ValueError, match="others may read") as refused:
            send()
        assert "pass word" not in str(refused.value)
        with pytest.raises(ValueError, match=PASSWORD_VARIABLE):
            send(MailServer.model_validate(own))
        secret.chmod(0o600)
        send()
        monkeypatch.setenv(PASSWORD_VARIABLE, "another")
        with pytest.raises(smtplib.SMTPAuthenticationError) as wrong:
            send()
        assert "another" not in str(wrong.value)
        monkeypatch.setenv(PASSWORD_VARIABLE, "pass word")
        send(MailServer.model_validate(own))
    assert len(heard.mails) == 2
    assert all("brack-001: taken in; 2 accepted" in mail for mail in heard.mails)
    assert os.environ[PASSWORD_VARIABLE] not in "".join(heard.mails)
