"""The log of a worker that waits says nothing: what it did, and what failed, are the lines that somebody looks for."""

import subprocess
import sys

PROGRAM = """
import logging
import structlog
from service.logs import configure_logs

configure_logs("json", "INFO")
for library in ("procrastinate.worker", "apscheduler.scheduler", "alembic.runtime"):
    logging.getLogger(library).info("every few seconds")
    logging.getLogger(library).error("it failed")
structlog.get_logger("worker").info("chunk_done")
"""


def test_libraries_speak_of_failures_only():
    ran = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert "every few seconds" not in ran.stderr
    assert ran.stderr.count("it failed") == 3
    assert "chunk_done" in ran.stderr
