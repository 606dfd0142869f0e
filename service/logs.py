"""How the service logs: one JSON object a line, or coloured text for a person."""

import logging
import sys
from typing import Literal

import structlog
from structlog.tracebacks import ExceptionDictTransformer


def configure_logs(form: Literal["json", "text"], level: str) -> None:
    """Send every log, the libraries' too, to standard error in one form; user text cannot break out of a line."""
    shared: list[structlog.typing.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
    ]
    # Both would add the variables of every frame to a failure: tokens, passwords and what people wrote.
    plain = structlog.dev.ConsoleRenderer(
        colors=sys.stderr.isatty(), exception_formatter=structlog.dev.plain_traceback
    )
    frames = structlog.processors.ExceptionRenderer(ExceptionDictTransformer(show_locals=False))
    last: list[structlog.typing.Processor] = [plain]
    if form == "json":
        last = [frames, structlog.processors.JSONRenderer()]
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    formatter = structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=shared,
        processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, *last],
    )
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(formatter)
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
    for told_elsewhere in ("apscheduler", "alembic", "procrastinate"):
        logging.getLogger(told_elsewhere).setLevel(logging.WARNING)
