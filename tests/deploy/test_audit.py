"""`python3 deploy audit`: every locked package is asked about, and what is known stands in the bill of materials.

The collection that answers here is a stand-in with the shapes of the OSV schema 1.6 (ossf.github.io/osv-schema),
because the real one is out of reach of the tests. The flaw in it is invented.
"""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

from deploy.audit import audit
from deploy.commands import ROOT
from deploy.environment import Project
from deploy.failures import SetupError
from tests.house.locks import RUNTIME, installed_on

FLAWED = "jinja2"


@contextmanager
def collection(*, flawed: str = "") -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """A collection of flaws on this machine: its address, and what it was asked."""
    asked: list[dict[str, Any]] = []

    class Answers(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            question = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            asked.append(question)
            answer = _flaw(question) if question["package"]["name"] == flawed else {}
            self.send_response(200)
            self.end_headers()
            self.wfile.write(json.dumps(answer).encode())

        def log_message(self, *_: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Answers) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_address[1]}/v1/query", asked
        server.shutdown()
        thread.join()


def _flaw(question: dict[str, Any]) -> dict[str, Any]:
    package = {"ecosystem": "PyPI", "name": question["package"]["name"]}
    ranges = [{"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "99.0"}]}]
    dates = {"modified": "2026-01-01T00:00:00Z", "published": "2026-01-01T00:00:00Z"}
    affected = [{"package": package, "ranges": ranges, "versions": [question["version"]]}]
    return {
        "vulns": [
            {"id": "INVENTED-1", "summary": "an invented flaw", "details": "", "affected": affected} | dates
        ]
    }


@pytest.fixture
def project(monkeypatch: pytest.MonkeyPatch) -> Project:
    """This project, in the environment that runs the tests."""
    monkeypatch.setattr("deploy.audit.ensure_environment", lambda *_: None)
    return Project(root=ROOT)


def test_the_bill_names_every_package_of_the_lock_and_is_sound_cyclonedx(project: Project, tmp_path: Path):
    bill = tmp_path / "bill.json"
    with collection() as (address, asked):
        assert audit(project, ["--out", str(bill), "--source", address]) == 0
    text = bill.read_text(encoding="utf-8")
    named = {part["name"]: part["version"] for part in json.loads(text)["components"]}
    assert {one["package"]["name"]: one["version"] for one in asked} == named
    assert named == {name: pin.removeprefix("==") for name, (pin, _) in installed_on({}, RUNTIME).items()}
    assert JsonStrictValidator(SchemaVersion.V1_4).validate_str(text) is None


def test_a_known_flaw_is_a_failure_and_stands_in_the_bill(project: Project, tmp_path: Path, capsys: Any):
    bill = tmp_path / "bill.json"
    with collection(flawed=FLAWED) as (address, _):
        assert audit(project, ["--out", str(bill), "--source", address]) == 1
    assert "1 known vulnerability" in capsys.readouterr().out
    flaws = json.loads(bill.read_text(encoding="utf-8"))["vulnerabilities"]
    assert [one["id"] for one in flaws] == ["INVENTED-1"]


def test_without_an_answer_there_is_no_bill(project: Project, tmp_path: Path):
    bill = tmp_path / "bill.json"
    with collection() as (address, _):
        pass
    with pytest.raises(SetupError, match="could not be asked"):
        audit(project, ["--out", str(bill), "--source", address])
    assert list(tmp_path.iterdir()) == []
