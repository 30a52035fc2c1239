"""A phone made on the page: the browser's subscription is taken from its owner, or taken away."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from gateway.web.asking import WRITERS, Web
from gateway.web.given import Account


def add_push(app: FastAPI, web: Web) -> None:
    """Let the application serve them."""

    async def add(request: Request) -> Response:
        """The phone, and a test call at once: only a message that was seen proves it."""
        form, account = await web.form(request), _who(web, request)
        if account.person is None or account.person not in {who.id for who in web.given.site().people}:
            raise HTTPException(422, "Your account stands for nobody in the site file: no call is for you.")
        sent = [form.get(name, "") for name in ("endpoint", "p256dh", "auth")]
        await run_in_threadpool(web.phones.add, account.person, *sent)
        await run_in_threadpool(web.given.record, "test-call", {"person": account.person})
        return RedirectResponse("/me?push=made", 303)

    async def drop(request: Request) -> Response:
        """One's own; who keeps the house may take away anybody's."""
        form, account = await web.form(request), _who(web, request)
        whose = None if account.may("maltster") else account.person or ""
        if not await run_in_threadpool(web.phones.drop, form.get("phone", ""), whose):
            raise HTTPException(422, "There is no such phone of yours.")
        return RedirectResponse("/me", 303)

    app.router.routes += [
        Route("/me/push", add, methods=["POST"]),
        Route("/me/push/away", drop, methods=["POST"]),
    ]


def _who(web: Web, request: Request) -> Account:
    account = web.account(request)
    if account is None or not account.may(*WRITERS):
        raise HTTPException(403, "Your account may only look.")
    return account


def shown(web: Web, account: Account) -> dict[str, object]:
    """What the page of one's own settings says of phones."""
    whose = None if account.may("maltster") else account.person or ""
    people = {who.id for who in web.given.site().people}
    return {
        "push_key": web.phones.key() if account.person in people and account.may(*WRITERS) else "",
        "phones": web.phones.listed(whose) if account.may(*WRITERS) else [],
    }
