"""Requests drawn from the OpenAPI document itself, right and wrong ones, over every operation with every check.

The checks are schemathesis's own: no server error, no undocumented status, header or content type, every body as its
schema says, wrong data refused, an unknown method answered with 405 and Allow, authentication not ignored. One is told
more: a right request may be refused with 412 or 422 as well, since JSON Schema cannot say that a level lies within the
volume or that a text has no character that hides others. Query parameters that nobody knows are passed over, as is
usual on the web, so none are drawn.
"""

import os
from typing import Any

import hypothesis
import pytest
import schemathesis
from schemathesis.config import SchemathesisConfig
from schemathesis.generation import GenerationMode
from starlette.types import ASGIApp, Receive, Scope, Send

from tests.security.operations import Operation
from tests.security.world import found_world
from tests.service_fixtures import Operator

ACCEPTED_OR_REFUSED_WITH_REASON = ["2xx", "3xx", "401", "403", "404", "409", "412", "422", "429"]
N_EXAMPLES = int(os.environ.get("DOCUMENT_EXAMPLES", "12"))
"""Of each operation, half of them meant to be refused; DOCUMENT_EXAMPLES asks for more."""


def without_lifespan(app: ASGIApp) -> ASGIApp:
    """The application, whose start and end are in other hands."""

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            for event in ("startup", "shutdown"):
                await receive()
                await send({"type": f"lifespan.{event}.complete"})
        else:
            await app(scope, receive, send)

    return answer


@pytest.fixture
def described_api(client: Any, operator: Operator, operations: dict[str, Operation]) -> Any:
    """The application as its document describes it, with something of every kind in it."""
    found_world(operator, operations)
    for name in ("add_fluid", "register_vehicle", "register_compartment"):
        path = operations[name].path.replace("{vehicle}", "VAN-07")
        answer = operator.post(path, operations[name].bodies["application/json"])
        assert answer.status_code == 201, answer.text
    config = SchemathesisConfig.from_dict(
        {
            "checks": {"positive_data_acceptance": {"expected-statuses": ACCEPTED_OR_REFUSED_WITH_REASON}},
            "generation": {"allow-extra-parameters": False},
        }
    )
    return schemathesis.openapi.from_asgi("/openapi.json", without_lifespan(client.app), config=config)


MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)


def _told(error: BaseException) -> str:
    failures = getattr(error, "exceptions", (error,))
    return "; ".join(" ".join(str(failure).split())[:400] for failure in failures[:3])


@pytest.mark.slow
def test_the_service_is_what_its_document_says(described_api: Any, operator: Operator) -> None:
    wrong: list[str] = []
    n_calls = 0
    for result in described_api.get_all_operations():
        operation = result.ok()
        for mode in MODES:

            @hypothesis.settings(
                max_examples=N_EXAMPLES // len(MODES),
                deadline=None,
                suppress_health_check=list(hypothesis.HealthCheck),
                phases=(hypothesis.Phase.generate,),
            )
            @hypothesis.given(case=operation.as_strategy(generation_mode=mode))
            def call(case: Any) -> None:
                nonlocal n_calls
                n_calls += 1
                case.call_and_validate(headers=operator.headers)

            try:
                call()
            except hypothesis.errors.Unsatisfiable:
                continue  # nothing about this operation can be wrong
            except (Exception, BaseExceptionGroup) as error:
                wrong.append(f"{operation.label} {mode.value}: {_told(error)}")
    assert wrong == []
    assert n_calls > 500
