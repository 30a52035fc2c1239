"""The pages of whoever is not logged in yet, and of one's own settings."""

from __future__ import annotations

from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined

from gateway.web import paper

_FRAME = """<!doctype html>
<html lang="en"{% if me is defined %} data-look="{{ me.look }}"{% endif %}>
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"><title>{{ title }} – {{ house }}</title>
<link rel="stylesheet" href="{{ static('floor.css') }}"></head>
<body class="entry"><header><p class="house">{{ house }}</p></header><main id="main">
<h1>{{ title }}</h1>
{% if fault %}<p class="fault" role="alert">{{ fault[:1]|upper }}{{ fault[1:] }}</p>{% endif %}
{% block main %}{% endblock %}
</main><footer><p>Not a certified gas alarm. Hand meter before you go in.</p></footer></body></html>
"""
_NAME = """<p><label for="name">Your name</label>
<input id="name" name="name" required maxlength="40" autocomplete="username"></p>"""
_NEW = """<p><label for="password">A new password, ten characters or more:
a few words in a row are good</label>
<input id="password" name="password" type="password" required minlength="10" maxlength="128"
autocomplete="new-password"></p>"""
_PAGES = {
    "login": f"""<form method="post" action="/login">{_NAME}
<p><label for="password">Password</label>
<input id="password" name="password" type="password" required maxlength="128"
autocomplete="current-password"></p><p><button>Log in</button></p></form>""",
    "setup": f"""<p>This makes the first account. It may do everything and can be joined by others from the
command line.</p><form method="post">{_NAME}{_NEW}<p><button>Make it</button></p></form>""",
    "password": f"""<p>For {{{{ name }}}}.</p>
<form method="post">{_NEW}<p><button>Set it</button></p></form>""",
    "open": """<p>You go in as {{ name }}. The link works once.</p>
<form method="post"><p><button>Go in</button></p></form>""",
    "gone": """<p>It was used already, or its time is over. Ask whoever keeps the accounts for a new one.</p>
<p><a href="/login">Log in</a></p>""",
    "fault": """{% if ours %}<p>Until it works again: hand thermometer, hand meter, the round sheet on paper.
If it stays so, tell whoever looks after the gateway.</p>{% endif %}
<p><a class="do" href="/">{{ "Try the floor again" if ours else "Back to the floor" }}</a></p>""",
    "me": """<p>You are {{ me.name }}; role: {{ me.role }}{{
", who may look and not write" if me.role == "viewer" }}.</p>
<p><a class="plain" href="/">Back to the floor</a></p>
<form method="post"><input type="hidden" name="csrf" value="{{ token }}">
<p><label for="degrees">Temperatures</label> <select id="degrees" name="degrees">
<option value="c">Celsius</option>
<option value="f"{% if me.fahrenheit %} selected{% endif %}>Fahrenheit</option>
</select></p><p><label for="look">Screen</label> <select id="look" name="look">
{% for one in looks %}<option value="{{ one }}"{% if one == me.look %} selected{% endif %}>{{
{"auto": "as this device is set", "light": "daylight", "dark": "night"}[one] }}</option>{% endfor %}
</select></p><p><button>Keep</button></p></form>
<h2>Phone</h2><p>{% if called %}Calls for you go to the phone that the site file has for {{ called }}.
{% else %}Nobody is called by this account: it is none of the site file’s people.{% endif %}</p>
<h2>Wake this phone</h2>
{% if made %}<p role="status">Made. A test call is on its way: only if this phone shows it does it work.</p>
{% endif %}{% if push_key %}<p id="push-said">This needs HTTPS and a browser that runs scripts.</p>
<form id="push" method="post" action="/me/push" data-key="{{ push_key }}" hidden>
<input type="hidden" name="csrf" value="{{ token }}"><input type="hidden" name="endpoint">
<input type="hidden" name="p256dh"><input type="hidden" name="auth">
<p><button>Wake this phone for my calls</button></p></form>
<script src="{{ static('push.js') }}" defer></script>
{% else %}<p>Only the account of somebody in the site file, who may write, can be called.</p>{% endif %}
{% for id, good in phones %}<form method="post" action="/me/push/away">
<input type="hidden" name="csrf" value="{{ token }}"><input type="hidden" name="phone" value="{{ id }}">
<p>{{ id }}{% if not good %}: gone, its browser is not there any more. Make it anew on that phone.{% endif %}
<button>Take {{ id }} away</button></p></form>{% endfor %}
<h2>Password</h2><form method="post"><input type="hidden" name="csrf" value="{{ token }}">
<p><label for="old">The old one</label>
<input id="old" name="old" type="password" maxlength="128" autocomplete="current-password"></p>
<p><label for="new">The new one</label><input id="new" name="new" type="password" required minlength="10"
maxlength="128" autocomplete="new-password"></p><p><button>Change it</button></p></form>
<form method="post" action="/logout"><input type="hidden" name="csrf" value="{{ token }}">
<p><button>Log out</button></p></form>""",
}
_TITLES = {
    "login": "Log in",
    "setup": "The first account",
    "password": "Set a password",
    "open": "Go in",
    "gone": "This link no longer works",
    "fault": "That did not work",
    "me": "Your settings",
}
_environment = Environment(
    loader=DictLoader(
        {"frame": _FRAME}
        | {
            key: f'{{% extends "frame" %}}{{% block main %}}{body}{{% endblock %}}'
            for key, body in _PAGES.items()
        }
    ),
    autoescape=True,
    undefined=StrictUndefined,
)
_environment.globals["static"] = paper.static


def html(what: str, house: str, **shown: Any) -> str:
    """One of them."""
    return _environment.get_template(what).render(
        house=house, title=_TITLES[what], **{"fault": "", "name": "", "ours": False} | shown
    )
