"""The limits of the probes in tests/security hold here too."""

from tests.security.conftest import document, operations  # noqa: F401
