"""The JSON interface, version 1: contract C8's rows by GET, contract C6's verbs by POST."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Body, Depends, FastAPI, Path, Query
from starlette.exceptions import HTTPException
from starlette.requests import Request

from gateway.core import views, views_air, views_heat, views_kiln, views_piece
from gateway.core.inputs import VERBS
from gateway.core.rows import Row
from gateway.core.state import State
from gateway.errors import GatewayError
from gateway.show import documents
from gateway.web.asking import WRITERS, Web, may_record, require
from gateway.web.given import Account

MOST = 1000
ROOT = "/api/v1"
Who = Annotated[Account, Depends(require())]
Few = Annotated[int, Query(ge=1, le=MOST)]


@dataclass(frozen=True)
class Document:
    """Rows; `at` is the time they are true of (RFC 3339, UTC), null where nothing has come yet."""

    schema: int
    at: str | None
    rows: list[dict[str, Any]]
    running: bool


@dataclass(frozen=True)
class Kept:
    """What was recorded stands in the store under this number."""

    journal: int


#: RFC 9457.
PROBLEM: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
    },
}
_PROBLEM = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
_FAULTS: dict[int | str, dict[str, Any]] = {
    code: {"description": words, "content": _PROBLEM}
    for code, words in {
        400: "The request cannot be read",
        401: "Nobody we know",
        403: "The role does not do",
        408: "The request came too slowly",
        413: "The request is too long",
        414: "The address is too long",
        422: "It cannot be",
        503: "The gateway did not answer in time",
    }.items()
}
#: What is made of the judge's state alone.
_VIEWS: dict[str, tuple[str, Callable[[State], list[Row]], Callable[[Any], list[Row]]]] = {
    "beds": ("Beds", views.beds, documents.beds),
    "probes": ("Probes", views.probes, documents.probes),
    "tonight": ("What wants doing tonight", views.tonight, documents.tonight),
    "forecast": ("What each bed will do if nobody turns it", views_heat.forecast, documents.forecast),
    "kiln": ("Each kiln: estimates are marked as such", views_kiln.kilns, documents.kiln),
    "air": ("Air: never a permit to enter; not a certified gas alarm", views_air.air, documents.air),
    "pieces": ("Pieces on their way", views_piece.pieces, documents.pieces),
    "questions": ("Questions about the record", views_piece.questions, documents.questions),
}


def add_api(app: FastAPI, web: Web) -> None:
    """Let the application serve it."""
    for name, (about, view, written) in _VIEWS.items():
        _add_view(app, web, name, about, view, written)
    _add_lists(app, web)
    _add_writing(app, web)


def _document(web: Web, found: list[Row], at_ms: int | None) -> dict[str, Any]:
    return documents.document(at_ms, found, running=True)


def _add_view(
    app: FastAPI, web: Web, name: str, about: str,
    view: Callable[[State], list[Row]], written: Callable[[Any], list[Row]],
) -> None:  # fmt: skip
    def get(_: Who) -> Any:
        at_ms, found = web.given.ask(lambda state: (state.at_ms, view(state)))
        return _document(web, written(found), at_ms)

    app.add_api_route(
        f"{ROOT}/{name}", get, summary=about, operation_id=name, response_model=Document, responses=_FAULTS
    )


def _add_lists(app: FastAPI, web: Web) -> None:
    reader, now_ms = web.given.reader, web.given.now_ms

    def alarms(_: Who, ended: bool = False, most: Few = 200) -> Any:
        """Alarms that are not back to normal, the gravest first; with `ended` all of them."""
        return _document(web, documents.alarms(reader().alarms(ended, most)), now_ms())

    def notices(_: Who, most: Few = 200) -> Any:
        """Messages to phones and what became of each."""
        return _document(web, documents.notices(reader().notices(most)), now_ms())

    def turns(_: Who, most: Few = 200) -> Any:
        """Turns, the newest first."""
        return _document(web, documents.turns(reader().turns(most)), now_ms())

    def rejected(_: Who, most: Few = 200) -> Any:
        """Payloads that were refused, the newest first."""
        return _document(web, documents.rejected(reader().rejected(most)), now_ms())

    for get in (alarms, notices, turns, rejected):
        app.add_api_route(
            f"{ROOT}/{get.__name__}", get, operation_id=get.__name__, response_model=Document,
            responses=_FAULTS,
        )  # fmt: skip


def _add_writing(app: FastAPI, web: Web) -> None:
    def record(
        request: Request,
        account: Annotated[Account, Depends(require(*WRITERS))],
        word: Annotated[str, Path(json_schema_extra={"enum": sorted(VERBS)})],
        body: Annotated[dict[str, Any], Body(max_length=60)],
    ) -> Any:
        """Record what somebody did: a verb of the command line with its fields; `by` is whoever asks
        unless it says otherwise, `when_ms` or `when` is when it really happened."""
        if "authorization" not in request.headers:
            web.check_token(request, request.headers.get("x-csrf", ""))
        if word not in VERBS:
            raise HTTPException(422, f"There is no verb {word[:40]!r}.")
        if not may_record(account, word):
            raise HTTPException(403, f"Your role is {account.role}; it does not do for {word}.")
        body.setdefault("by", account.by)
        if "kind" in body:
            raise HTTPException(422, "kind: the verb stands in the address.")
        return {"journal": web.given.record(word, body)}

    app.add_api_route(
        f"{ROOT}/do/{{word}}", record, methods=["POST"], operation_id="record", response_model=Kept,
        responses=_FAULTS,
    )  # fmt: skip


def words_of(fault: Exception) -> tuple[int, str]:
    """Status and words for what went wrong while something was asked of the gateway."""
    if isinstance(fault, GatewayError):
        return 503, str(fault)
    return 422, str(fault)
