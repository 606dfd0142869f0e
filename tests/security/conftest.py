"""The document's operations, and a limiter that does not end a probe after two thousand calls."""

import pytest

from service.api.limiter import Limiter, TokenBuckets
from service.clients.addresses import parse_networks
from service.clients.targets import TargetRules
from tests.security.operations import Operation, operations_of


def without_limits() -> Limiter:
    """A limiter that lets everything through; that limits exist is tested for itself."""
    limiter = Limiter(calls_per_second=1e9, rows_per_hour=1e12)
    limiter._failures = TokenBuckets(1e9, 1e9)
    return limiter


@pytest.fixture
def operations(client) -> dict[str, Operation]:
    """Every operation by its id; the client's limits are off, and webhooks may lead to this machine."""
    client.app.state.limiter = without_limits()
    client.app.state.target_rules = TargetRules(parse_networks("127.0.0.0/8"))
    return {operation.operation_id: operation for operation in operations_of(client.app.openapi())}
