"""What goes wrong before or while setting up is answered with a sentence that helps, and an exit code."""

import ast
import runpy
import socket
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from deploy.commands import DEFAULT_HOST, DEFAULT_PORT, check_port, main
from deploy.failures import SetupError, advice_for, check_writable
from service.settings import Settings

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"


def test_the_entry_is_readable_for_python_3_6() -> None:
    """PEP 494: the grammar of 3.6 is checked by the parser itself."""
    ast.parse((DEPLOY / "__main__.py").read_text(encoding="utf-8"), feature_version=(3, 6))


def test_an_old_python_gets_a_sentence_and_a_newer_name(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    newer = tmp_path / "python3.12"
    newer.write_text("#!/bin/sh\n", encoding="utf-8")
    newer.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    entry = runpy.run_path(str(DEPLOY / "__main__.py"), run_name="entry")
    old = SimpleNamespace(
        version_info=(3, 9, 2), stderr=sys.stderr, argv=["deploy", "test"], executable="p", exit=sys.exit
    )
    monkeypatch.setitem(entry["refuse_old_python"].__globals__, "sys", old)
    with pytest.raises(SystemExit) as stopped:
        entry["refuse_old_python"]()
    assert stopped.value.code == 1
    said = capsys.readouterr().err
    assert "needs Python 3.11 or newer; this is 3.9" in said
    assert "python3.12 deploy test" in said


def test_the_defaults_are_those_of_the_settings() -> None:
    fields = Settings.model_fields
    assert fields["host"].default == DEFAULT_HOST
    assert fields["port"].default == DEFAULT_PORT


def test_a_taken_port_is_found_before_anything_is_installed(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
        assert main(["demo", "--port", str(port)]) == 1
    said = capsys.readouterr().err
    assert f"Port {port} on 127.0.0.1 is taken" in said
    assert "--port" in said


@pytest.mark.parametrize(
    ("host", "port", "sentence"),
    [
        ("127.0.0.1", 70000, "not a port"),
        ("192.0.2.1", 8000, "cannot listen on 192.0.2.1"),  # TEST-NET-1, RFC 5737: no machine's address
        ("no-such-host.invalid", 8000, "not known here"),  # .invalid never resolves, RFC 6761
    ],
)
def test_an_address_that_cannot_be_served_is_explained(host: str, port: int, sentence: str) -> None:
    with pytest.raises(SetupError, match=sentence):
        check_port(host, port)


@pytest.mark.parametrize("arguments", [[], ["frobnicate"], ["setup", "--production"]])
def test_a_wrong_call_shows_the_usage(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    printed = capsys.readouterr()
    assert "python3 deploy demo" in printed.out + printed.err


def test_help_is_not_a_failure(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    assert "python3 deploy test" in capsys.readouterr().out


def test_a_file_in_the_way_is_named(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.touch()
    with pytest.raises(SetupError, match="is a file"):
        check_writable(file / "below", "the demo's database")
    check_writable(tmp_path / "not" / "yet" / "there", "the demo's database")


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The operating system's answer is replaced, since root may write anywhere."""
    monkeypatch.setattr("deploy.failures.os.access", lambda place, mode: False)
    with pytest.raises(SetupError, match="cannot be written by this user"):
        check_writable(tmp_path, "setting up")


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        # pip 23.2 and uv 0.13 as they were seen to speak, shortened
        (
            "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.",
            "not the one that the lock",
        ),
        ("error: Hash mismatch for `oil==1.0`", "not the one that the lock"),
        ("[Errno 28] No space left on device", "disk is full"),
        ("NewConnectionError(... Temporary failure in name resolution)", "could not be reached"),
        ("Failed to establish a new connection ... No matching distribution found", "could not be reached"),
        ("cause: tcp connect error\n cause: Connection refused (os error 111)", "could not be reached"),
        ("SSLCertVerificationError: CERTIFICATE_VERIFY_FAILED", "certificate"),
        ("ERROR: No matching distribution found for numpy==2.4.0", "does not exist for this machine"),
        (
            "ERROR: Could not install packages due to an OSError: [Errno 13] Permission denied",
            "cannot be written",
        ),
        ("something new", "reason of its own"),
    ],
)
def test_each_cause_has_its_advice(said: str, sentence: str) -> None:
    assert sentence in advice_for(said)
