"""Ways in and out: log in, a one-time link, one's own settings, log out."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from gateway.web import entry
from gateway.web.accounts import LOOKS, NotSo
from gateway.web.asking import Web, cookie_name
from gateway.web.routes_push import shown


def add_doors(app: FastAPI, web: Web) -> None:
    """Let the application serve them."""
    doors = _Doors(web)
    app.router.routes += [
        Route("/login", doors.login, methods=["GET"]),
        Route("/login", doors.log_in, methods=["POST"]),
        Route("/in/{secret}", doors.link, methods=["GET"]),
        Route("/in/{secret}", doors.use, methods=["POST"]),
        Route("/me", doors.me, methods=["GET"]),
        Route("/me", doors.change, methods=["POST"]),
        Route("/logout", doors.log_out, methods=["POST"]),
    ]


class _Doors:
    def __init__(self, web: Web) -> None:
        self._web = web

    def _page(self, what: str, status: int = 200, **shown: object) -> Response:
        return HTMLResponse(entry.html(what, self._web.given.site().name, **shown), status)

    def login(self, request: Request) -> Response:
        """The page with name and password."""
        return self._page("login", fault="")

    async def log_in(self, request: Request) -> Response:
        """A new session, whatever the browser had before: nobody can hand somebody a session of theirs."""
        form = await self._web.fields(request)
        name, password = form.get("name", ""), form.get("password", "")
        try:
            session = await run_in_threadpool(self._web.accounts.login, name, password, _peer(request))
        except NotSo as fault:
            page = self._page("login", 429 if fault.wait_s else 403, fault=str(fault))
            if fault.wait_s:
                page.headers["Retry-After"] = str(fault.wait_s)
            return page
        return await self._enter(request, session)

    async def _enter(self, request: Request, session: str) -> Response:
        old = self._web.session(request)
        if old:
            await run_in_threadpool(self._web.accounts.logout, old)
        return self._web.let_in(request, RedirectResponse("/", 303), session)

    def link(self, request: Request) -> Response:
        """What a one-time link is for; only its button uses it up: programs open links, too."""
        link = self._web.accounts.look(request.path_params["secret"])
        if link is None:
            return self._page("gone", 410)
        return self._page(link.purpose, name=link.name, fault="")

    async def use(self, request: Request) -> Response:
        """Use a link."""
        secret, form = request.path_params["secret"], await self._web.fields(request)
        link = self._web.accounts.look(secret)
        if link is None:
            return self._page("gone", 410)
        name, password = form.get("name", ""), form.get("password", "")
        try:
            session = await run_in_threadpool(self._web.accounts.use, secret, name, password)
        except NotSo as fault:
            return self._page(link.purpose, 422, name=link.name, fault=str(fault))
        return await self._enter(request, session)

    def me(self, request: Request) -> Response:
        """One's own settings."""
        return self._me(request)

    def _me(self, request: Request, fault: str = "", status: int = 200) -> Response:
        account = self._web.account(request)
        if account is None:
            return RedirectResponse("/login", 303)
        token, more = self._web.token(request), shown(self._web, account)
        more["made"] = request.query_params.get("push") == "made"
        known = self._web.given.site().person.get(account.person or "")
        more["called"] = known.name if known else account.person
        return self._page("me", status, me=account, token=token, looks=LOOKS, fault=fault, **more)

    async def change(self, request: Request) -> Response:
        """Change one's own settings or password."""
        account, session = self._web.account(request), self._web.session(request)
        if account is None or session is None:
            return RedirectResponse("/login", 303)
        form, accounts = await self._web.form(request), self._web.accounts
        try:
            if form.get("new"):
                old, new, peer = form.get("old", ""), form["new"], _peer(request)
                await run_in_threadpool(accounts.set_password, account.name, old, new, session, peer)
            else:
                await run_in_threadpool(
                    accounts.change, account.name,
                    look=form.get("look", "auto"), fahrenheit=form.get("degrees") == "f",
                )  # fmt: skip
        except NotSo as fault:
            return self._me(request, str(fault), 429 if fault.wait_s else 422)
        return RedirectResponse("/me", 303)

    async def log_out(self, request: Request) -> Response:
        """End the session here, not only in the browser."""
        session = self._web.session(request)
        if session and self._web.account(request):
            await self._web.form(request)
            await run_in_threadpool(self._web.accounts.logout, session)
        gone = RedirectResponse("/login", 303)
        secure = request.url.scheme == "https"
        gone.delete_cookie(cookie_name(request), path="/", secure=secure, httponly=True)
        gone.headers["Clear-Site-Data"] = '"cache", "storage"'
        return gone


def _peer(request: Request) -> str:
    return request.client.host if request.client else "?"
