"""A killed server answers again within two seconds, so its start waits for nothing that it can load later."""

import subprocess
import sys

from tests.faults.nodes import ROOT

LATER = ("altair", "vl_convert", "scipy.optimize", "scipy.sparse", "seed_demo", "procrastinate", "asyncpg")
SERVER = "import service.__main__, service.cli.app, service.api.application, service.web.application"


def test_a_server_starts_without_what_only_some_requests_need():
    """Charts, the planner of visits, the fit of the usage model and the demo take a second together."""
    code = f"{SERVER}\nimport sys\nprint(*(name for name in {LATER!r} if name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
