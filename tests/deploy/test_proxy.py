"""The reverse proxy's file in a real nginx on the loopback, in front of a server that tells what it was sent."""

import http.client
import json
import os
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from tests.deploy.test_production_files import program
from tests.house.sources import text_of


class Telling(BaseHTTPRequestHandler):
    """Answers with the headers and the length of the body that reached it."""

    def do_GET(self) -> None:
        length = len(self.rfile.read(int(self.headers.get("Content-Length", "0"))))
        answer = json.dumps({"headers": dict(self.headers), "length": length, "path": self.path}).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def do_POST(self) -> None:
        self.do_GET()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@dataclass
class Proxy:
    """Where the proxy listens."""

    plain: int
    encrypted: int

    def ask(
        self, method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None
    ) -> tuple[int, dict[str, object]]:
        trusting = ssl.create_default_context()
        trusting.check_hostname = False
        trusting.verify_mode = ssl.CERT_NONE  # a certificate made for this run
        connection = http.client.HTTPSConnection("127.0.0.1", self.encrypted, context=trusting, timeout=20)
        try:
            connection.request(method, path, body, headers or {})
            answer = connection.getresponse()
            text = answer.read()
            told = json.loads(text) if answer.status == 200 else {}
            return answer.status, told | {"answered": dict(answer.getheaders())}
        finally:
            connection.close()


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port: int = listener.getsockname()[1]
        return port


@pytest.fixture(scope="module")
def proxy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    nginx, openssl = program("nginx"), program("openssl")
    folder = tmp_path_factory.mktemp("proxy")
    (folder / "tls").mkdir()
    files = ["-keyout", f"{folder}/tls/privkey.pem", "-out", f"{folder}/tls/fullchain.pem"]
    certificate = [
        openssl,
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-subj",
        "/CN=fleet.example.org",
        *files,
    ]
    subprocess.run(certificate, capture_output=True, check=True)
    service = ThreadingHTTPServer(("127.0.0.1", 0), Telling)
    service.daemon_threads = True
    threading.Thread(target=service.serve_forever, daemon=True).start()
    ports = Proxy(plain=free_port(), encrypted=free_port())
    site = text_of(Path("deploy/nginx.conf.template"))
    for old, new in {
        "${SUMPWISE_UPSTREAM}": f"127.0.0.1:{service.server_port}",
        "${SUMPWISE_SERVER_NAME}": "fleet.example.org",
        "/etc/sumpwise/tls": str(folder / "tls"),
        "listen 80;": f"listen 127.0.0.1:{ports.plain};",
        "listen 443 ": f"listen 127.0.0.1:{ports.encrypted} ",
    }.items():
        assert old in site
        site = site.replace(old, new)
    (folder / "site.conf").write_text(site, encoding="utf-8")
    kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    temporary = "".join(f"{kind}_temp_path {folder}/{kind};" for kind in kinds)
    # As root it would hand its workers to another user, who may not write into the test's folder.
    user = "user root; " if os.getuid() == 0 else ""
    (folder / "nginx.conf").write_text(
        f"{user}pid {folder}/pid; error_log {folder}/errors; daemon off; events {{}}\n"
        f"http {{ access_log off; {temporary} include {folder}/site.conf; }}\n",
        encoding="utf-8",
    )
    server = subprocess.Popen([nginx, "-c", f"{folder}/nginx.conf", "-e", f"{folder}/errors"])
    try:
        wait_for(ports.encrypted, server)
        yield ports
    finally:
        server.terminate()
        server.wait(timeout=10)
        service.shutdown()
        service.server_close()


def wait_for(port: int, server: subprocess.Popen[bytes]) -> None:
    for _ in range(200):
        assert server.poll() is None, "nginx did not start"
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except ConnectionRefusedError:
            time.sleep(0.05)
        else:
            return
    pytest.fail("nginx does not listen")


def test_the_service_learns_who_asks_and_a_client_cannot_pretend(proxy: Proxy) -> None:
    pretending = {"X-Forwarded-For": "203.0.113.9", "Host": "fleet.example.org"}  # TEST-NET-3, RFC 5737
    status, told = proxy.ask("GET", "/v1/vehicles?limit=3", headers=pretending)
    assert status == 200
    headers = told["headers"]
    assert isinstance(headers, dict)
    assert headers["X-Forwarded-For"] == "127.0.0.1"
    assert headers["X-Forwarded-Proto"] == "https"
    assert headers["Host"] == "fleet.example.org"
    assert told["path"] == "/v1/vehicles?limit=3"


def test_browsers_are_told_to_stay_with_tls(proxy: Proxy) -> None:
    """RFC 6797 §6.1."""
    answered = proxy.ask("GET", "/")[1]["answered"]
    assert isinstance(answered, dict)
    assert answered["Strict-Transport-Security"] == "max-age=31536000"


@pytest.mark.parametrize(
    ("path", "megabytes", "status"),
    [
        ("/v1/services", 8, 200),
        ("/v1/services", 9, 413),
        ("/v1/readings", 20, 200),
        ("/v1/readings/csv", 9, 413),
    ],
)
def test_a_body_is_let_through_up_to_its_limit(proxy: Proxy, path: str, megabytes: int, status: int) -> None:
    """RFC 9110 §15.5.14: 413 for content larger than the server will take."""
    answered, told = proxy.ask("POST", path, b"x" * (megabytes * 1024 * 1024), {"Content-Type": "text/csv"})
    assert answered == status
    if status == 200:
        assert told["length"] == megabytes * 1024 * 1024


@pytest.mark.parametrize("path", ["/metrics", "/metrics?x=1", "//metrics", "/%6detrics", "/v1/../metrics"])
def test_the_metrics_are_not_for_the_world(proxy: Proxy, path: str) -> None:
    assert proxy.ask("GET", path)[0] == 404


def test_plain_http_is_sent_to_tls_and_keeps_its_method(proxy: Proxy) -> None:
    """RFC 9110 §15.4.9: 308 keeps the method."""
    connection = http.client.HTTPConnection("127.0.0.1", proxy.plain, timeout=20)
    connection.request("POST", "/v1/readings?a=1", headers={"Host": "fleet.example.org"})
    answer = connection.getresponse()
    connection.close()
    assert (answer.status, answer.getheader("Location")) == (308, "https://fleet.example.org/v1/readings?a=1")
