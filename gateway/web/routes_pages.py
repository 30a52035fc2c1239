"""The pages over HTTP: an address is looked up, made and sent; a form is written down, then the way back."""

from __future__ import annotations

from typing import Protocol

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from gateway.web import paper, turn_page
from gateway.web.given import Account, Given
from gateway.web.turn_page import Reply

_YEAR_S = 31_536_000
#: Every address of a page; what stands in braces is a name of the site's.
ADDRESSES = (
    *turn_page.PAGES, "/bed/{name}", "/bed/{name}/write", "/piece/{name}", "/probe/{name}", "/alarm/{name}",
)  # fmt: skip


class Web(Protocol):
    """What the pages need of the application that serves them."""

    @property
    def given(self) -> Given:
        """The gateway."""

    def account(self, request: Request) -> Account | None:
        """Who asks; None for nobody we know."""

    def token(self, request: Request) -> str:
        """What a form of this reader must bring along."""

    async def form(self, request: Request) -> dict[str, str]:
        """A form's fields, bounded and checked for that token; raises what answers with 403."""


def add_pages(app: Starlette, web: Web) -> None:
    """Let the application serve the pages, their files, and what they write down."""

    def page(request: Request) -> Response:
        me = web.account(request)
        if me is None:
            return RedirectResponse("/login", 303)
        part = request.headers.get("x-part") == "1"
        query = dict(request.query_params)
        path = (
            request.scope.get("raw_path", request.url.path.encode()).decode("ascii", "replace").split("?")[0]
        )
        return _sent(turn_page.get(web.given, me, path, query, web.token(request), part=part))

    async def write(request: Request) -> Response:
        me = web.account(request)
        if me is None:
            return RedirectResponse("/login", 303)
        form, token = await web.form(request), web.token(request)
        word = request.path_params["word"]
        return _sent(await run_in_threadpool(turn_page.post, web.given, me, word, form, token))

    app.router.routes += [
        *(Route(address, page, methods=["GET"]) for address in ADDRESSES),
        Route("/do/{word}", write, methods=["POST"]),
        Route("/static/{name}", file, methods=["GET"]),
        Route("/sw.js", worker, methods=["GET"]),
    ]


def _sent(reply: Reply) -> Response:
    if reply.location:
        return RedirectResponse(reply.location, reply.status)
    told = {"Cache-Control": "no-store", "X-Now": str(reply.now_ms), "X-Clock": reply.clock}
    return HTMLResponse(reply.html, reply.status, headers=told)


def file(request: Request) -> Response:
    """A file beside the pages; its address changes with it, so it is kept for a year."""
    return _file(request.path_params["name"], f"public, max-age={_YEAR_S}, immutable")


def worker(request: Request) -> Response:
    """What keeps the last state on the device; asked for anew each time."""
    return _file("sw.js", "no-cache")


def _file(name: str, keep: str) -> Response:
    kind = paper.TYPES.get(name.rsplit(".", 1)[-1])
    if kind is None or name not in paper.files():
        return PlainTextResponse("There is no such file.", 404)
    return Response((paper.STATIC / name).read_bytes(), media_type=kind, headers={"Cache-Control": keep})
