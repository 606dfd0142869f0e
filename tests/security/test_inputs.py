"""Nonsense in every field of every write: refused with a problem document, never stored, never a crash.

The values are those that broke services of this kind before: numbers that JSON or the database cannot hold, days that
no calendar has, text that hides or reorders what is read, bodies that are none.
"""

import json
import re
import unicodedata
from collections.abc import Iterator
from typing import Any

import pytest

from tests.security.operations import OF_ANOTHER_FORMAT, OPENED_BY_THEIR_ADDRESS, Operation, leaves, with_leaf
from tests.security.world import World, found_world, send
from tests.service_fixtures import Operator

HOLE = '"\\u0001hole\\u0001"'
NUMBERS = (
    "NaN",
    "Infinity",
    "-Infinity",
    "1e400",
    "1e308",
    "9223372036854775808",
    "-9223372036854775809",
    "9" * 5_000,
    "true",
    '"12"',
    "[1]",
    "{}",
)
MAY_BE_NEGATIVE = {"ambient_celsius", "level_celsius", "odometer_offset_km", "engine_hours_offset", "litres"}
DAYS = (
    "0001-01-01",
    "9999-12-31",
    "2026-02-30",
    "2025-02-29",
    "2026-13-01",
    "٢٠٢٦-٠٥-٠١",
    "1777550400",
    "2026-5-1",
    "",
)
TEXTS = (
    "\\u0000",
    "A\\u0000B",
    "\\ud800",
    "A\\u0007B",
    "A\\u202eB",
    "A\\u2066B",
    "",
    "   ",
    "\\u00a0",
    "A\\nB\\u0000",
    "x" * 1_000_000,
)
SOUND_TEXTS = (
    "Фургон 7",
    "货车七号",
    "🚚🚚",
    "عربة ٧",
    "Cafe\u0301 Å",
    "<b>1</b>",
    "=1+1",
    "'; DROP TABLE vehicle;--",
    "{{7*7}}",
)
INTERNALS = re.compile(
    r"sqlalchemy|sqlite|psycopg|postgres|traceback|\.py\b|select |insert into|constraint|service\.|pydantic"
    r"|0x[0-9a-f]{6}",
    re.IGNORECASE,
)


@pytest.fixture
def world(operator: Operator, operations: dict[str, Operation]) -> World:
    return found_world(operator, operations)


def _bad_values(value: Any) -> Iterator[str]:
    """Replacements for a value of an example, as they would stand in JSON."""
    if isinstance(value, bool):
        yield from ("1", '"true"', "[]", "NaN")
    elif isinstance(value, int | float):
        yield from NUMBERS
    elif isinstance(value, str):
        is_day = re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value)
        days = (f"{day}{value[10:]}" for day in DAYS) if is_day else ()
        yield from (f'"{text}"' for text in (*days, *TEXTS))
        yield from ("1", "true", "NaN")


def _cases(world: World, operation: Operation) -> Iterator[tuple[str, str]]:
    if "application/json" not in operation.bodies or operation.operation_id in OF_ANOTHER_FORMAT:
        return
    body = world.body(operation, "application/json")
    for path, value in leaves(body):
        holed = json.dumps(with_leaf(body, path, "\u0001hole\u0001"))
        assert holed.count(HOLE) == 1
        for bad in _bad_values(value):
            yield f"{operation.operation_id} {path} {bad[:30]!r}", holed.replace(HOLE, bad)


def _note_faults(answer: Any, case: str, wrong: list[str]) -> None:
    """A refusal is a problem document of the 4xx kind, and says nothing of how the service is built."""
    if not 400 <= answer.status_code < 500:
        wrong.append(f"{case}: {answer.status_code}")
    elif answer.headers["content-type"] != "application/problem+json":
        wrong.append(f"{case}: {answer.headers['content-type']}")
    elif INTERNALS.search(answer.text):
        wrong.append(f"{case}: {answer.text[:200]}")


def _reads_still_work(world: World, operations: dict[str, Operation]) -> list[str]:
    return [
        f"poisoned: {name} {answer.status_code}"
        for name, operation in operations.items()
        if operation.method == "get" and name not in OPENED_BY_THEIR_ADDRESS
        for answer in [send(world.operator, operation, world)]
        if answer.status_code >= 300
    ]


@pytest.mark.slow
def test_no_field_takes_nonsense(world, operations):
    wrong: list[str] = []
    n_cases = 0
    for operation in operations.values():
        for case, content in _cases(world, operation):
            n_cases += 1
            answer = _send_raw(world, operation, content.encode())
            if "1 MB" not in case:
                _note_faults(answer, case, wrong)
    wrong += _reads_still_work(world, operations)
    assert wrong == []
    assert n_cases > 1_000


def test_minus_zero_is_refused_or_is_zero(world, operations):
    """IEEE 754 has a zero below zero: PostgreSQL keeps its sign, SQLite drops it, and no meter shows it."""
    wrong = []
    for operation in operations.values():
        if "application/json" not in operation.bodies or operation.operation_id in OF_ANOTHER_FORMAT:
            continue
        body = world.body(operation, "application/json")
        for path, value in leaves(body):
            if isinstance(value, float) and path[-1] not in MAY_BE_NEGATIVE:
                answer = _send_raw(world, operation, json.dumps(with_leaf(body, path, -0.0)).encode())
                _note_faults(answer, f"{operation.operation_id} {path}", wrong)
            elif isinstance(value, float):
                _send_raw(world, operation, json.dumps(with_leaf(body, path, -0.0)).encode())
    for name, operation in operations.items():
        if operation.method == "get" and name not in OPENED_BY_THEIR_ADDRESS:
            answer = send(world.operator, operation, world)
            if re.search(r"-0(\.0+)?[,\]}]", answer.text):
                wrong.append(f"{name} shows a minus zero")
    assert wrong == []


def _send_raw(world: World, operation: Operation, content: bytes, kind: str = "application/json") -> Any:
    path = operation.path
    for name in operation.names_in("path"):
        path = path.replace("{" + name + "}", world.path_value(operation, name))
    headers = world.operator.headers | ({"Content-Type": kind} if kind else {})
    return world.operator.client.request(operation.method.upper(), path, content=content, headers=headers)


BODIES = {
    "empty": b"",
    "cut": b'{"vehicle": "X", "cl',
    "null": b"null",
    "array": b"[]",
    "number": b"1",
    "text": b'"text"',
    "brackets": b"[" * 200_000,
    "nested": b'{"a":' * 100_000,
    "bad UTF-8": b'{"vehicle": "\xff\xfe", "readings": "\xc3("}',
    "byte order mark": b"\xef\xbb\xbf{",
    "NUL": b"\x00",
}


@pytest.mark.slow
def test_no_body_that_is_none_breaks_a_write(world, operations):
    wrong: list[str] = []
    for operation in operations.values():
        if "application/json" not in operation.bodies:
            continue
        for name, content in BODIES.items():
            if name in {"empty", "null"} and not operation.needs_body:
                continue
            answer = _send_raw(world, operation, content)
            _note_faults(answer, f"{operation.operation_id} {name}", wrong)
        for kind in (
            "application/x-www-form-urlencoded",
            "text/plain",
            "application/xml",
            "multipart/form-data; boundary",
        ):
            answer = _send_raw(world, operation, b"vehicle=X", kind)
            _note_faults(answer, f"{operation.operation_id} {kind}", wrong)
        _note_faults(_send_raw(world, operation, b"\x00\x01", ""), f"{operation.operation_id} no type", wrong)
    wrong += _reads_still_work(world, operations)
    assert wrong == []


def test_a_doubled_key_has_one_meaning(world, operations):
    """RFC 8259, 4: what a receiver makes of doubled names is its own affair; ours takes the last, and never crashes."""
    answer = _send_raw(
        world, operations["register_vehicle"], b'{"vehicle": "D-1", "class": "van", "vehicle": "D-2"}'
    )
    assert answer.status_code in {201, 400, 422}


STRANGE = (
    "%00",
    "%FF",
    "..%2f..%2fetc",
    "%2e%2e",
    "%0d%0aX:1",
    "a" * 8_000,
    "-1",
    "veh_0",
    "veh_99999999999999999999",
    "%E2%80%AE",
    "'--",
)
QUERIES = (
    "limit=-1",
    "limit=0",
    "limit=1000000000",
    "limit=1e9",
    "limit=%00",
    "limit=",
    "cursor=%00",
    "cursor=AAAA",
    "cursor=W10",
    "cursor=" + "A" * 8_000,
    "cursor=eyJhZnRlciI6MWU0MDB9",
    "cursor=eyJhZnRlciI6LTF9",
    "cursor=eyJhZnRlciI6OTIyMzM3MjAzNjg1NDc3NTgwOH0",
    "vehicle=%FF",
    "vehicle=%00",
    "reference=%ED%A0%80",
    "outcome=x",
    "time_zone=localtime",
    "weeks=1e9",
    "weeks=NaN",
    "sort=;drop",
    "x=" + "y" * 8_000,
)


def _queries_of(operation: Operation) -> list[str]:
    """Those that an operation reads, and one that it passes over like all the others."""
    if operation.method != "get":
        return []
    names = {*operation.names_in("query"), "x"}
    return [query for query in QUERIES if query.partition("=")[0] in names]


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_strange_paths_and_queries_get_a_sound_answer(world, operations):
    wrong: list[str] = []
    for operation in operations.values():
        for name in operation.names_in("path"):
            for strange in STRANGE:
                path = operation.path
                for other in operation.names_in("path"):
                    value = strange if other == name else world.path_value(operation, other)
                    path = path.replace("{" + other + "}", value)
                answer = world.operator.client.request(
                    operation.method.upper(), path, headers=world.operator.headers
                )
                if answer.status_code != 200 or operation.operation_id not in OPENED_BY_THEIR_ADDRESS:
                    _note_faults(answer, f"{operation.operation_id} {name}={strange[:20]}", wrong)
        for query in _queries_of(operation):
            path = operation.path
            for other in operation.names_in("path"):
                path = path.replace("{" + other + "}", world.path_value(operation, other))
            answer = world.operator.client.get(f"{path}?{query}", headers=world.operator.headers)
            if answer.status_code >= 300:
                _note_faults(answer, f"{operation.operation_id}?{query[:30]}", wrong)
    assert wrong == []


@pytest.mark.parametrize("text", SOUND_TEXTS)
def test_sound_text_of_every_script_comes_back_as_it_was(operator, text):
    body = {"vehicle": text.replace("/", "-"), "class": "van", "depot": text}
    created = operator.post("/v1/vehicles", body)
    assert created.status_code == 201, created.text
    shown = operator.get("/v1/vehicles").json()["vehicles"][0]
    assert shown["vehicle"] == unicodedata.normalize("NFC", body["vehicle"])
    assert shown["depot"] == unicodedata.normalize("NFC", text)
    again = operator.post("/v1/vehicles", {**body, "vehicle": unicodedata.normalize("NFD", body["vehicle"])})
    assert again.status_code == 409, "equal after normalising counts as the same"


def test_cells_that_a_spreadsheet_would_compute_are_quoted(operator):
    """OWASP, CSV injection: = + - @ tab and CR at a cell's start, and their full-width forms."""
    names = ["=1+1", "+1", "-1-1", "@SUM(A1)", "＝1+1", "＋1", "－1", "＠A"]
    for name in names:
        assert operator.post("/v1/vehicles", {"vehicle": name, "class": "van"}).status_code == 201
        answer = operator.post(
            f"/v1/vehicles/{name}/compartments",
            {"kind": "engine_oil_diesel_heavy", "interval_months": 12, "last_service_on": "2024-01-08"},
        )
        assert answer.status_code == 201, answer.text
    text = operator.get("/v1/due-lists/current.csv").text
    for name in names:
        assert name in text
        assert not re.search(rf'(^|,|;|")({re.escape(name)})(,|;|"|$)', text, re.MULTILINE), name


@pytest.mark.parametrize("with_length", [True, False])
def test_a_body_over_the_limit_is_refused_without_being_kept(world, operations, with_length):
    size = 10 * 1024 * 1024
    content = b'{"vehicle": "' + b"x" * size + b'"}'

    def pieces() -> Iterator[bytes]:
        yield from (content[start : start + 65_536] for start in range(0, len(content), 65_536))

    wrong: list[str] = []
    for operation in operations.values():
        if "application/json" in operation.bodies:
            answer = _send_raw(world, operation, content if with_length else pieces())
            if answer.status_code != 413 or answer.headers["content-type"] != "application/problem+json":
                wrong.append(f"{operation.operation_id}: {answer.status_code}")
    assert wrong == []


def test_a_file_s_size_is_allowed_only_where_files_are_taken(operator):
    content = b"[" * (10 * 1024 * 1024)
    headers = operator.headers | {"Content-Type": "text/csv"}
    assert operator.client.post("/v1/vehicles", content=content, headers=headers).status_code == 413


@pytest.mark.parametrize("encoding", ["gzip", "deflate", "br", "zstd", "GZIP", "identity, gzip"])
def test_a_packed_body_is_refused_unopened(operator, encoding):
    headers = {"Content-Encoding": encoding}
    answer = operator.post("/v1/vehicles", {"vehicle": "X", "class": "van"}, headers=headers)
    assert answer.status_code == 415
    assert answer.headers["content-type"] == "application/problem+json"
