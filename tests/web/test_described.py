"""The JSON interface against its own description: requests it allows and forbids, made up by schemathesis."""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.web.conftest import PLAIN, Site

EACH = 25
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_every_operation_keeps_to_its_description(site: Site, mode: GenerationMode) -> None:
    schema = schemathesis.openapi.from_dict(site.app.openapi())
    schema.config.update(base_url=PLAIN)
    name = f"schemathesis {mode.value}"
    token = site.tokens.add(name, "maltster")
    asked: dict[str, set[int]] = {}
    for result in schema.get_all_operations():
        operation: Any = result.ok()  # type: ignore[union-attr] # a description that cannot be read raises
        asked[operation.label] = _try(site, operation, mode, token)
    site.tokens.remove(name)
    assert len(asked) >= 12
    assert 422 in asked["POST /api/v1/do/{word}"]
    if mode is GenerationMode.POSITIVE:
        assert all(200 in statuses for label, statuses in asked.items() if label.startswith("GET ")), asked


def _try(site: Site, operation: Any, mode: GenerationMode, token: str) -> set[int]:
    """The statuses of answers, each of which was as described."""
    seen: set[int] = set()

    @settings(
        max_examples=EACH, deadline=None, database=None, derandomize=True,
        suppress_health_check=list(HealthCheck), phases=[Phase.generate],
    )  # fmt: skip
    @given(case=operation.as_strategy(generation_mode=mode))
    def one(case: Any) -> None:
        sent = case.as_transport_kwargs()
        made = dict(sent.pop("headers") or {})
        # What it makes up to get in is tried elsewhere; here it comes in.
        heads = {key: value for key, value in made.items() if key.lower() != "authorization"}
        heads["authorization"] = f"Bearer {token}"
        sent.pop("cookies", None)
        data = sent.pop("data", None)
        more: dict[str, Any] = {"content": data} if isinstance(data, str | bytes) else {}
        answer = site.ask(sent.pop("method"), sent.pop("url"), headers=heads, **more, **sent)
        case.validate_response(answer, checks=CHECKS)
        seen.add(answer.status_code)

    one()
    return seen
