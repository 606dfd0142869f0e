"""A failure is told with where it happened, and not with what was in the variables there (OWASP ASVS 5.0, 16.2.5)."""

import json
import subprocess
import sys

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

PROGRAM = """
import sys
import structlog
from service.logs import configure_logs

configure_logs(sys.argv[1], "INFO")


def fail(secret):
    raise ZeroDivisionError("by nothing")


try:
    fail(f"sump_{'very' + '-secret'}")
except ZeroDivisionError as error:
    structlog.get_logger("test").error("it_failed", exc_info=error)
    import logging
    logging.getLogger("library").exception("its own words")
"""


@pytest.mark.parametrize("form", ["json", "text"])
def test_no_variable_of_a_failure_is_in_the_log(form):
    ran = subprocess.run([sys.executable, "-c", PROGRAM, form], capture_output=True, text=True, check=True)
    assert "very-secret" not in ran.stderr
    assert "by nothing" in ran.stderr
    assert "fail" in ran.stderr, "where it happened is told"
    if form == "json":
        lines = [json.loads(line) for line in ran.stderr.splitlines()]
        assert [line["event"] for line in lines] == ["it_failed", "its own words"]


def test_no_value_of_a_statement_that_failed_is_in_its_error(database):
    with pytest.raises(DBAPIError) as caught, database.engine.connect() as connection:
        connection.execute(text("SELECT :value FROM nowhere"), {"value": "very-secret"})
    assert "nowhere" in str(caught.value)
    assert "very-secret" not in str(caught.value)
