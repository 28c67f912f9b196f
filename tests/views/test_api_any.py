"""The API under thousands of requests made from its own document: never a fault of ours.

Schemathesis, driven in-process. The number of cases for each operation is `ROEWATCH_API_CASES`,
25 when it is not set.
"""

import os
from typing import Any

import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from starlette.types import Receive, Scope, Send
from tests.journeys.served import WebPlace
from tests.views.room_of_glass import PAST, usual
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.views.api import document
from roewatch.views.app import app_of

CASES = int(os.environ.get("ROEWATCH_API_CASES", "25"))


BASE = "http://127.0.0.1:8420"


class Here:
    """The pages of a room, as somebody at the daemon's own computer sees them."""

    def __init__(self) -> None:
        self._app = app_of(*usual(), settings=WebPlace(), past=PAST, workshop=GlassWorkshop())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            scope = {**scope, "client": ("127.0.0.1", 50000)}
        await self._app(scope, receive, send)


def described() -> dict[str, Any]:
    """The document without the stream, which never ends."""
    found: dict[str, Any] = document()
    found["paths"].pop("/api/live", None)
    return found


schema = schemathesis.openapi.from_dict(described())
schema.app = Here()


@schema.parametrize()
@settings(
    max_examples=CASES, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True
)
def test_any_request_gets_an_answer_the_document_names(case: schemathesis.Case[Any]) -> None:
    case.call_and_validate(
        base_url=BASE,
        checks=[
            not_a_server_error,
            status_code_conformance,
            content_type_conformance,
            response_schema_conformance,
        ],
    )
