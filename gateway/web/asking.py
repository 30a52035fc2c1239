"""Who asks, and whether they may: what routes use of the application. `Web` is what pages are given."""

from __future__ import annotations

from collections.abc import Callable

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from gateway.web.accounts import Accounts
from gateway.web.given import ROLES, Account, Phones, Running
from gateway.web.secret import csrf, is_csrf
from gateway.web.tokens import Tokens

WRITERS = tuple(role for role in ROLES if role != "viewer")
#: Verbs that not everybody who may write may record; who may.
_KEPT_BACK = {
    "out-of-service": ("maltster", "maintenance", "safety"),
    "in-service": ("maltster", "maintenance", "safety"),
    "test-call": ("maltster", "maintenance", "safety"),
}
_MOST_FIELDS = 200


def may_record(account: Account, word: str) -> bool:
    """Whether that account may record that verb of contract C6."""
    return account.may(*_KEPT_BACK.get(word, WRITERS))


def cookie_name(request: Request) -> str:
    """`__Host-` where the connection is encrypted: such a cookie cannot be set by anybody but this host."""
    return "__Host-malting" if request.url.scheme == "https" else "malting"


def current(request: Request) -> Account | None:
    """Whose session, or whose token; None for nobody we know."""
    web: Web = request.app.state.web
    return web.account(request)


def require(*roles: str) -> Callable[[Request], Account]:
    """A dependency: whoever asks, if they have one of these roles; any role where none is named.

    Answers 401 to nobody we know, 403 to everybody else.
    """

    def found(request: Request) -> Account:
        account = current(request)
        if account is None:
            raise HTTPException(401, "Log in, or send a token.", {"WWW-Authenticate": "Bearer"})
        if roles and not account.may(*roles):
            raise HTTPException(403, f"Your role is {account.role}; this needs {' or '.join(roles)}.")
        return account

    return found


class Web:
    """The application as its routes see it."""

    def __init__(self, given: Running, accounts: Accounts, tokens: Tokens, phones: Phones) -> None:
        self.given, self.accounts, self.tokens, self.phones = given, accounts, tokens, phones

    def session(self, request: Request) -> str | None:
        """The secret of the session cookie, whether it holds or not."""
        return request.cookies.get(cookie_name(request))

    def account(self, request: Request) -> Account | None:
        """Who asks; None for nobody we know. A token counts before a cookie."""
        kind, _, token = request.headers.get("authorization", "").partition(" ")
        if kind:
            return self.tokens.of(token.strip()) if kind.lower() == "bearer" else None
        return self.accounts.of_session(self.session(request))

    def token(self, request: Request) -> str:
        """What a form of this reader must bring along."""
        session = self.session(request)
        return csrf(session) if session else ""

    def check_token(self, request: Request, sent: str) -> None:
        """Raises 403 unless that is what a form of this session brings along."""
        session = self.session(request)
        if not session or not is_csrf(session, sent):
            raise HTTPException(
                403, "The form was too old or not one of ours. Go back and load the page anew."
            )

    async def form(self, request: Request) -> dict[str, str]:
        """A form's fields, checked for the session's token, and whether they may record `word` of the path;
        raises what answers with 403. Files are nothing we take."""
        found = await self.fields(request)
        self.check_token(request, found.get("csrf", ""))
        account, word = self.account(request), request.path_params.get("word")
        if account is None or (word is not None and not may_record(account, word)):
            raise HTTPException(403, "Your account may not write that down. Ask whoever keeps the accounts.")
        return found

    async def fields(self, request: Request) -> dict[str, str]:
        """A form's fields, unchecked; bounded in number and length."""
        async with request.form(max_files=0, max_fields=_MOST_FIELDS) as form:
            return {key: value for key, value in form.items() if isinstance(value, str)}

    def let_in(self, request: Request, response: Response, session: str) -> Response:
        """Give the browser its new session."""
        secure = request.url.scheme == "https"
        response.set_cookie(
            cookie_name(request), session, httponly=True, secure=secure, samesite="lax", path="/"
        )
        return response
