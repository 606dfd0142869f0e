from datetime import UTC, datetime

import pytest

from seed_demo.fleet import DemoFleet, build_demo_fleet

NOW = datetime(2026, 5, 1, 7, 30, tzinfo=UTC)


@pytest.fixture(scope="session")
def now() -> datetime:
    return NOW


@pytest.fixture(scope="session")
def fleet() -> DemoFleet:
    return build_demo_fleet(NOW)
