"""The document's operations, and a limiter that does not end a probe after two thousand calls."""

from pathlib import Path
from typing import Any

import pytest

from service.api.limiter import Limiter, TokenBuckets
from service.clients.addresses import parse_networks
from service.clients.targets import TargetRules
from service.main import build_app
from service.settings import Settings
from service.store.session import Database
from tests.security.operations import Operation, operations_of


def without_limits() -> Limiter:
    """A limiter that lets everything through; that limits exist is tested for itself."""
    limiter = Limiter(calls_per_second=1e9, rows_per_hour=1e12)
    limiter._failures = TokenBuckets(1e9, 1e9)
    return limiter


@pytest.fixture(scope="session")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The document of the application, written once: that takes longer than most tests."""
    path: Path = tmp_path_factory.mktemp("document") / "none.sqlite"
    database = Database(f"sqlite:///{path}")
    app = build_app(Settings(environment="test", scheduler=False), database)
    described = app.openapi()
    database.close()
    return described


@pytest.fixture
def operations(client, document) -> dict[str, Operation]:
    """Every operation by its id; the client's limits are off, and webhooks may lead to this machine."""
    client.app.state.limiter = without_limits()
    client.app.state.target_rules = TargetRules(parse_networks("127.0.0.0/8"))
    return {operation.operation_id: operation for operation in operations_of(document)}
