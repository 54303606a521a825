"""A receiver of webhooks may answer what it likes, as slowly as it likes: it neither holds nor fools us."""

from __future__ import annotations

import contextlib
import shutil
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from orchard.farms.webhooks import sending
from orchard.farms.webhooks.sending import Answer
from tests.farms.test_webhooks import made_certificate

pytestmark = pytest.mark.skipif(
    shutil.which("openssl") is None, reason="no openssl to make a certificate with"
)
GREETING = b"HTTP/1.1 200 OK\r\n"


@pytest.fixture
def answered(tmp_path, settings, monkeypatch) -> Iterator[Callable[..., tuple[Answer, float]]]:
    """Give what sends a webhook to a receiver that does something strange, and how long that took."""
    settings.WEBHOOK_NETWORKS = ["127.0.0.0/8"]
    doors = []

    def send(does, *, name="IP:127.0.0.1", tls=True):
        certificate = made_certificate(tmp_path, name)
        monkeypatch.setenv("SSL_CERT_FILE", str(certificate))
        secured = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        secured.load_cert_chain(certificate)
        door = socket.create_server(("127.0.0.1", 0))
        doors.append(door)

        def receive():
            with contextlib.suppress(OSError):
                came, _ = door.accept()
                with secured.wrap_socket(came, server_side=True) if tls else came as line:
                    line.recv(65_536)
                    does(line)

        threading.Thread(target=receive, daemon=True).start()
        began = time.monotonic()
        answer = sending.post_to_public(f"https://127.0.0.1:{door.getsockname()[1]}/", {}, b"{}")
        return answer, time.monotonic() - began

    yield send
    for door in doors:
        door.close()


def drips(line: ssl.SSLSocket) -> None:
    """Answer a letter each twentieth of a second, for a minute."""
    for _ in range(1200):
        line.sendall(b"z")
        time.sleep(0.05)


@pytest.mark.parametrize(
    ("before", "status"), [(b"HTTP/1.1 2", None), (GREETING + b"x-slow: ", 200)], ids=["status", "header"]
)
def test_who_answers_letter_by_letter_is_hung_up_on(answered, monkeypatch, before, status):
    monkeypatch.setattr(sending, "SECONDS_IN_ALL", 0.5)

    answer, seconds = answered(lambda line: (line.sendall(before), drips(line)))

    assert answer.status == status
    assert seconds < 5


@pytest.mark.parametrize("tls", [True, False])
def test_who_says_nothing_at_all_is_not_waited_for(answered, monkeypatch, tls):
    monkeypatch.setattr(sending, "SECONDS", 0.3)

    answer, seconds = answered(lambda line: time.sleep(20), tls=tls)

    assert answer.status is None and "timed out" in answer.error
    assert seconds < 5


def test_of_an_answer_without_an_end_the_status_is_read_and_no_more(answered):
    sent = []

    def floods(line):
        line.sendall(GREETING + b"content-length: 1000000000\r\n\r\n")
        for _ in range(1000):
            line.sendall(bytes(1_000_000))
            sent.append(1_000_000)

    answer, seconds = answered(floods)

    assert answer == Answer(200)
    assert seconds < 5 and sum(sent) < 100_000_000


def test_a_header_without_an_end_is_an_answer_that_is_not_understood(answered):
    answer, _ = answered(lambda line: line.sendall(GREETING + b"x-long: " + b"z" * 200_000 + b"\r\n\r\n"))

    assert (answer.status, answer.taken) == (None, False)
    assert "LineTooLong" in answer.error


def test_who_has_the_certificate_of_another_name_hears_nothing(answered):
    answer, _ = answered(lambda line: line.sendall(GREETING + b"\r\n"), name="DNS:other.example")

    assert answer.status is None and "CERTIFICATE_VERIFY_FAILED" in answer.error
