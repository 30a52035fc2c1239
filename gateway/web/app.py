"""The application: one FastAPI with pages, JSON, what is watched, and the ways in.

    app = make_app(given, Accounts(keep, given.real_ms), Tokens(keep, given.real_ms), phones)

Routes use `asking.current(request)`, and `asking.require(role, …)` as a dependency;
`routes_pages.add_pages(app, web)` is given `asking.Web`.
"""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response

from gateway import __version__
from gateway.errors import GatewayError
from gateway.web import api, entry, guard
from gateway.web.accounts import Accounts
from gateway.web.asking import Web
from gateway.web.bounds import USUAL, Bounds
from gateway.web.given import Phones, Running
from gateway.web.routes_doors import add_doors
from gateway.web.routes_live import Pulse, add_live
from gateway.web.routes_pages import add_pages
from gateway.web.routes_push import add_push
from gateway.web.tokens import Tokens


def make_app(
    given: Running, accounts: Accounts, tokens: Tokens, phones: Phones, bounds: Bounds = USUAL
) -> FastAPI:
    """The application over a running gateway. `app.state.pulse.stop()` lets open pages go."""
    app = FastAPI(
        title="Malting gateway",
        version=__version__,
        description="What a floor maltings' gateway knows, and how to write down what was done.",
        openapi_url=f"{api.ROOT}/openapi.json",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    web = Web(given, accounts, tokens, phones)
    app.state.web = web
    api.add_api(app, web)
    pulse: Pulse = add_live(app, web, bounds)
    app.state.pulse = pulse
    add_doors(app, web)
    add_push(app, web)
    add_pages(app, web)
    _describe(app)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _faulty)
    app.add_exception_handler(GatewayError, _fault)
    app.add_exception_handler(ValueError, _fault)
    app.add_middleware(GZipMiddleware, minimum_size=500)
    app.add_middleware(guard.Guard, body_s=bounds.body_s)
    return app


def _answer(request: Request, status: int, words: str, heads: Any = None) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse(
            guard.problem(status, words), status, heads, media_type="application/problem+json"
        )
    if "text/html" in request.headers.get("accept", ""):
        words = "There is no such page." if words == "Not Found" else words
        house = request.app.state.web.given.site().name
        return HTMLResponse(entry.html("fault", house, fault=words, ours=status >= 500), status, heads)
    return PlainTextResponse(words, status, heads)


def _http(request: Request, fault: Exception) -> Response:
    if not isinstance(fault, HTTPException):
        raise fault
    if fault.status_code == 401 and "text/html" in request.headers.get("accept", ""):
        return RedirectResponse("/login", 303)
    return _answer(request, fault.status_code, str(fault.detail), fault.headers)


def _faulty(request: Request, fault: Exception) -> Response:
    if not isinstance(fault, RequestValidationError):
        raise fault
    said = [f"{'.'.join(str(one)[:60] for one in one['loc'])}: {one['msg']}" for one in fault.errors()[:10]]
    return _answer(request, 422, "; ".join(said)[:1000])


def _fault(request: Request, fault: Exception) -> Response:
    return _answer(request, *api.words_of(fault))


def _describe(app: FastAPI) -> None:
    """The description of the interface, with the ways in and the form of faults."""
    plain = app.openapi

    def described() -> dict[str, Any]:
        if app.openapi_schema:
            return app.openapi_schema
        found = plain()
        parts = found.setdefault("components", {})
        parts.setdefault("schemas", {})["Problem"] = api.PROBLEM
        parts["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
        found["security"] = [{"token": []}]
        app.openapi_schema = found
        return found

    app.openapi = described  # type: ignore[method-assign] # FastAPI's own way to extend it
