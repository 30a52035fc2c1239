"""What the command line asks about accounts, links and tokens: a plain request, and lines that are said."""

from __future__ import annotations

from typing import Any

from gateway.web.accounts import OPEN, PASSWORD, Accounts, NotSo
from gateway.web.tokens import Tokens


def do(accounts: Accounts, tokens: Tokens, url: str, request: dict[str, Any]) -> list[str]:
    """Do it; raises NotSo."""
    what, name = str(request.get("what", "")), str(request.get("name") or "")
    role = str(request.get("role") or "shift")
    if request.get("kind") == "token":
        return _token(tokens, what, name, role)
    if what == "list":
        told = [
            f"{one.name}  {one.role}" + (f"  {one.person}" if one.person else "") for one in accounts.listed()
        ]
        return told or ["no account yet"]
    if what == "add":
        person = request.get("person")
        accounts.add(name, role, str(person) if person else None)
        return _told(url, accounts.link(PASSWORD, " ".join(name.split())), "set a password")
    if what == "link":
        if not name:
            secret = accounts.first_link()
            if secret is None:
                raise NotSo("There are accounts already; say which account the link is for.")
            return _told(url, secret, "make the first account")
        return _told(url, accounts.link(PASSWORD, name), "set a password")
    if what == "open":
        return _told(url, accounts.link(OPEN, name), f"go in as {name}")
    if what == "remove":
        accounts.remove(name)
        return [f"{name}: removed, and logged out everywhere"]
    if what == "role":
        accounts.change(name, role=role)
        return [f"{name}: {role} from now on"]
    raise NotSo("account: one of list, add, link, open, role, remove")


def _told(url: str, secret: str, purpose: str) -> list[str]:
    return [f"{url}/in/{secret}", f"Once, within a day, to {purpose}."]


def _token(tokens: Tokens, what: str, name: str, role: str) -> list[str]:
    if what == "list":
        return [f"{one.name}  {one.role}" for one in tokens.listed()] or ["no token yet"]
    if what == "add":
        return [tokens.add(name, role), "Shown once. Send it as: Authorization: Bearer …"]
    if what == "remove":
        tokens.remove(name)
        return [f"{name}: works no more"]
    raise NotSo("token: one of list, add, remove")
