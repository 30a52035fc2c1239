"""A small site file without a fault, and what can be done to it."""

from pathlib import Path

from gateway.settings import Fault, check

SITE = """\
[site]
id = "quern-hill"
name = "Quern Hill Maltings"
time_zone = "Europe/London"

[broker]
host = "127.0.0.1"
port = 18883

[links]
listen = "127.0.0.1:8470"

[[floor]]
id = "lower"
length_m = 20

[[place]]
id = "bed-a"
kind = "bed"
floor = "lower"
from_m = 0
to_m = 10

[[place]]
id = "bed-b"
kind = "bed"
floor = "lower"
from_m = 10
to_m = 20
programme = "slow"

[[place]]
id = "lower-room"
kind = "room"
floor = "lower"

[[place]]
id = "kiln"
kind = "kiln"
programme = "hot"

[[probe]]
id = "bed-a-mid"
place = "bed-a"
quantity = "temperature"
unit = "Cel"
range = [-20, 60]
at_m = 5
every_s = 60

[[probe]]
id = "bed-b-mid"
place = "bed-b"
quantity = "temperature"
unit = "[degF]"

[[probe]]
id = "room-co2"
place = "lower-room"
quantity = "co2"
unit = "ppm"
range = [0, 50000]

[[probe]]
id = "kiln-air-on"
place = "kiln"
quantity = "temperature"

[[person]]
id = "ada"
name = "Ada"

[[phone]]
person = "ada"
kind = "webhook"
url = "http://127.0.0.1:8471/ada"
secret_file = "ada.key"

[[shift]]
people = ["ada"]
days = "daily"
from = "00:00"
to = "24:00"

[programme.slow]
deadband_k = 0.5

[[programme.slow.day]]
day = 0
turn_at_c = 17
high_c = 21

[[programme.slow.day]]
day = 3
turn_at_c = 18

[programme.slow.couch]
high_c = 20

[programme.hot]
cap_c = 90

[[programme.hot.stage]]
name = "drying"
from_h = 0
target_c = 55
limit_c = 60

[[programme.hot.stage]]
name = "curing"
from_h = 20
target_c = 80
limit_c = 85
"""
#: The secret of the published example of Standard Webhooks (24 bytes).
KEY = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"


def write(folder: Path, text: str = SITE) -> Path:
    """The site file in a folder, with its secret beside it."""
    path = folder / "site.toml"
    path.write_text(text)
    key = folder / "ada.key"
    key.write_text(KEY + "\n")
    key.chmod(0o600)
    return path


def changed(*changes: tuple[str, str]) -> str:
    """The site with texts replaced, each of which must be in it once."""
    text = SITE
    for old, new in changes:
        assert text.count(old) == 1, f"{text.count(old)} times in the site: {old}"
        text = text.replace(old, new)
    return text


def line_of(text: str, needle: str) -> int:
    """The line a text begins in; it must be there once."""
    assert text.count(needle) == 1, f"{text.count(needle)} times: {needle}"
    return text[: text.index(needle)].count("\n") + 1


def faults_of(folder: Path, text: str) -> list[Fault]:
    """All faults of a text, written where its secret is."""
    faults, _ = check(write(folder, text), {})
    return faults
