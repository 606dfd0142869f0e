"""One call of a webhook, to real servers on this machine."""

import re
import socket
import ssl
import subprocess
import time

import pytest
from standardwebhooks import Webhook, WebhookVerificationError

from service.clients.addresses import parse_networks
from service.clients.targets import TargetRules
from service.clients.webhooks import Call, WebhookSender
from service.clock import SystemClock
from service.errors import ReceiverGoneError, UpstreamError, UpstreamTimeoutError
from tests.clients.sinks import Sink, flood, hang, listening, reply, statuses

LOOPBACK = TargetRules(parse_networks("127.0.0.0/8"))
OLD, NEW = ("whsec_" + "b2xkLW9sZC1vbGQtb2xkLW9sZC1vbGQt", "whsec_" + "bmV3LW5ldy1uZXctbmV3LW5ldy1uZXct")


def call_of(sink, *secrets, **facts):
    facts = {"message_id": "due-list/1/2026-W19/1", "body": '{"a":"é"}', "target": sink.url} | facts
    return Call(secrets=secrets or (NEW,), **facts)


def sender(rules=LOOPBACK, **options):
    return WebhookSender(SystemClock(), rules, **options)


def test_a_call_is_signed_so_that_the_scheme_s_own_library_accepts_it():
    with listening(Sink()) as sink:
        sender().send(call_of(sink, NEW, OLD))
    received = sink.calls[0]
    for secret in (OLD, NEW):
        assert Webhook(secret).verify(received.body, received.headers) == {"a": "é"}
    with pytest.raises(WebhookVerificationError):
        Webhook("whsec_" + "eHh4eHh4eHh4eHh4eHh4eHh4eHh4eHh4").verify(received.body, received.headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(NEW).verify(received.body + b" ", received.headers)
    assert received.headers["Host"] == f"127.0.0.1:{sink.port}"
    assert received.headers["webhook-id"] == "due-list/1/2026-W19/1"


@pytest.mark.parametrize(
    ("status", "error"), [(500, UpstreamError), (404, UpstreamError), (410, ReceiverGoneError)]
)
def test_anything_but_a_2xx_is_a_failure(status, error):
    with listening(Sink(answer=statuses(status))) as sink, pytest.raises(error, match=str(status)):
        sender().send(call_of(sink))


def test_a_redirect_is_a_failure_and_nobody_goes_there():
    with listening(Sink()) as trap:
        answer = lambda _sink, handler: reply(handler, 302, Location=trap.url)  # noqa: E731
        with listening(Sink(answer=answer)) as sink, pytest.raises(UpstreamError, match="redirects"):
            sender().send(call_of(sink))
    assert (len(sink.calls), trap.n_connections) == (1, 0)


def test_a_receiver_that_trickles_is_cut_off_in_time():
    started = time.perf_counter()
    with listening(Sink(answer=hang)) as sink, pytest.raises(UpstreamTimeoutError):
        sender(timeout_seconds=0.5).send(call_of(sink))
    assert time.perf_counter() - started < 2.0


def test_a_gigabyte_is_cut_after_the_first_64_kib():
    started = time.perf_counter()
    with listening(Sink(answer=flood)) as sink:
        sender().send(call_of(sink))
    assert time.perf_counter() - started < 2.0


def test_a_closed_port_and_a_cut_connection_are_failures():
    with listening(Sink()) as sink:
        pass
    with pytest.raises(UpstreamError):
        sender().send(call_of(sink))
    close = lambda _sink, handler: handler.connection.shutdown(socket.SHUT_RDWR)  # noqa: E731
    with listening(Sink(answer=close)) as sink, pytest.raises(UpstreamError):
        sender().send(call_of(sink))


def test_the_machine_that_was_checked_is_the_one_that_is_called():
    """A name that leads elsewhere the second time is asked for once a try."""
    asked = []

    def resolve(host, port):
        asked.append(host)
        return ["127.0.0.1"] if len(asked) == 1 else ["10.9.9.9"]

    rules = TargetRules(parse_networks("127.0.0.0/8"), resolve)
    with listening(Sink()) as sink:
        call = call_of(sink, target=f"http://hooks.example.org:{sink.port}/hook")
        sender(rules).send(call)
        assert sink.calls[0].headers["Host"] == f"hooks.example.org:{sink.port}"
        with pytest.raises(UpstreamError, match="private"):
            sender(rules).send(call)
    assert (len(asked), len(sink.calls)) == (2, 1)


def test_a_private_address_is_not_connected_to():
    with listening(Sink()) as trap, pytest.raises(UpstreamError, match="private"):
        sender(TargetRules()).send(call_of(trap))
    assert trap.n_connections == 0


def test_a_body_that_no_webhook_may_have_is_not_sent():
    with listening(Sink()) as sink, pytest.raises(UpstreamError, match="larger"):
        sender().send(call_of(sink, body="x" * 20_481))
    assert sink.calls == []


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A certificate for one name, made by the machine's own tool."""
    folder = tmp_path_factory.mktemp("tls")
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    command = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "ec",
        "-pkeyopt",
        "ec_paramgen_curve:prime256v1",
        "-nodes",
    ]
    names = [
        "-days",
        "2",
        "-subj",
        "/CN=hooks.example.org",
        "-addext",
        "subjectAltName=DNS:hooks.example.org",
    ]
    subprocess.run([*command, *names, "-keyout", key, "-out", certificate], check=True, capture_output=True)
    return key, certificate


def test_tls_is_checked_against_the_name_not_the_machine(certificate):
    """RFC 9110 4.3.4: the certificate must be for the host that was asked for."""
    key, public = certificate
    served = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    served.load_cert_chain(public, key)
    asked = []
    served.sni_callback = lambda _socket, name, _context: asked.append(name)
    rules = TargetRules(parse_networks("127.0.0.0/8"), lambda _host, _port: ["127.0.0.1"])
    trust = ssl.create_default_context(cafile=str(public))
    with listening(Sink(), served) as sink:
        right, wrong = (
            f"https://{name}:{sink.port}/hook" for name in ("hooks.example.org", "other.example.org")
        )
        sender(rules, trust=trust).send(call_of(sink, target=right))
        for target, context in ((wrong, trust), (right, ssl.create_default_context())):
            with pytest.raises(UpstreamError, match="reached"):
                sender(rules, trust=context).send(call_of(sink, target=target))
    assert asked[0] == "hooks.example.org"
    assert [re.sub(r":\d+", "", one.headers["Host"]) for one in sink.calls] == ["hooks.example.org"]
