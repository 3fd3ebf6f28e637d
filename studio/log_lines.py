"""Log lines: JSON in production, readable in the demo; each carries the mark of its request."""

from __future__ import annotations

from typing import Any

import structlog
import structlog.tracebacks

_SHARED = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
]

# Without the values of local variables: among them would be passwords, links and letters.
_TRACEBACKS = structlog.processors.ExceptionRenderer(
    structlog.tracebacks.ExceptionDictTransformer(show_locals=False)
)


def logging_settings(level: str, *, as_json: bool) -> dict[str, Any]:
    """Django's LOGGING: one handler for our own lines and for those of the libraries."""
    structlog.configure(
        processors=[*_SHARED, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    renderer = (
        [_TRACEBACKS, structlog.processors.JSONRenderer()]
        if as_json
        else [
            structlog.dev.ConsoleRenderer(
                colors=False, exception_formatter=structlog.dev.plain_traceback
            )
        ]
    )
    formatter = {
        "()": structlog.stdlib.ProcessorFormatter,
        "foreign_pre_chain": [*_SHARED, structlog.stdlib.ExtraAdder()],
        "processors": [structlog.stdlib.ProcessorFormatter.remove_processors_meta, *renderer],
    }
    quiet = {"level": "WARNING"}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"lines": formatter},
        "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "lines"}},
        "root": {"handlers": ["console"], "level": level},
        "loggers": {
            # Celery tells of every task and every beat; what matters is recorded by the actions.
            "celery": quiet,
            "kombu": quiet,
            # A refusal is an answer, not a fault: 4xx stay out, 5xx are errors.
            "django.request": {"level": "ERROR"},
            "django": {"handlers": [], "level": level, "propagate": True},
        },
    }
