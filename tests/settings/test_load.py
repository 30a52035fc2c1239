"""What a good site file becomes: the core's Site, exactly; broker, door, phones and their keys."""

import base64
import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from gateway.core import codec
from gateway.core.site import Callout, Couch, Day, Person, Phone, Shift, Site
from gateway.core.site_air import Air
from gateway.settings import SECRETS_FOLDER, Settings, SiteFault, check, load, write_keys
from gateway.settings.kiln import shipped as kiln_figures
from gateway.settings.programmes import shipped
from tests.settings.sites import KEY, SITE, changed, faults_of, write

CONFIG = Path(__file__).resolve().parents[2] / "config"
EXAMPLE = CONFIG / "quern-hill.toml"
BARE = '[site]\nid = "quern-hill"\ntime_zone = "Europe/London"\n'


def loaded(folder: Path, text: str = SITE) -> Settings:
    """The settings of a text."""
    return load(write(folder, text), {})


def there_and_back(site: Site) -> Site:
    """The site through the journal's form."""
    found: Site = codec.restore(Site, json.loads(json.dumps(codec.plain(site))))
    return found


def test_the_example_loads_without_a_warning(tmp_path: Path) -> None:
    write_keys(EXAMPLE, tmp_path)
    settings = load(EXAMPLE, {SECRETS_FOLDER: str(tmp_path)})

    assert settings.warnings == ()
    assert check(EXAMPLE, {SECRETS_FOLDER: str(tmp_path)}) == ([], [])
    site = settings.site
    assert [place.id for place in site.places if place.kind == "bed"] == ["bed-a", "bed-b", "bed-c", "bed-d"]
    for bed in ("bed-a", "bed-b", "bed-c", "bed-d"):
        heights = [one.height_cm for one in site.probes_of[bed] if one.quantity == "temperature"]
        assert len(heights) == len(set(heights)) == 3
        assert [one.quantity for one in site.probes_of[bed]].count("co2") == 1
    assert {one.kind for one in site.places} == {"steep", "bed", "room", "kiln", "outdoors"}
    assert {one.payload for one in site.probes} == {"json", "number"}
    assert (
        set(settings.phones) == {phone.id for phone in site.phones} == {"ada-1", "ben-1", "cleo-1", "dan-1"}
    )
    assert all(len(phone.secret) == 32 for phone in settings.phones.values())
    assert (settings.broker.host, settings.broker.port, settings.broker.root) == (
        "127.0.0.1",
        18883,
        "quern-hill",
    )


def test_the_example_says_the_defaults_of_the_call_plan() -> None:
    assert load(EXAMPLE, {}, with_secrets=False).site.callout == Callout()


def test_the_programmes_in_config_are_the_shipped_ones() -> None:
    site = load(EXAMPLE, {}, with_secrets=False).site
    assert site.programme == shipped()


def test_the_shipped_programmes_hold_the_trades_figures() -> None:
    """Turn-at by day: grade C. 22 and 25 C, 8 and 12 h, 10 min, 45 to 60 C: common practice, no source."""
    floor, kiln = shipped()["floor"], shipped()["kiln"]
    assert [day.day for day in floor.days] == [0, 1, 2, 3, 4, 5]
    assert [day.turn_at_c for day in floor.days] == [16, 16, 17, 18, 19, 20]
    assert {(day.high_c, day.urgent_c, day.due_h, day.overdue_h) for day in floor.days} == {(22, 25, 8, 12)}
    assert (floor.strict_high_c, floor.strict_urgent_c, floor.on_delay_s) == (22, 25, 600)
    assert floor.couch is not None
    assert (kiln.stages[0].target_c, kiln.stages[-1].target_c) == (45, 60)
    assert max(stage.limit_c for stage in kiln.stages) <= kiln.cap_c


def test_every_number_of_the_programmes_has_a_grade() -> None:
    """Either behind it, or in a comment above it that names its key."""
    for name in ("floor-programme.toml", "kiln-programme.toml"):
        text = (CONFIG / name).read_text()
        comments = " ".join(line for line in text.splitlines() if line.startswith("#"))
        for line in text.splitlines():
            key, _, rest = line.partition(" = ")
            if rest and not line.startswith("#") and key not in ("day", "name", "from_h"):
                said = f"{key}:" in comments or f"{key} is" in comments or f"{key}," in comments
                assert said or "# " in rest or key == "target_c", f"{name}: {line}"


@pytest.mark.parametrize("site", [EXAMPLE, None])
def test_the_site_survives_the_journal_exactly(site: Path | None, tmp_path: Path) -> None:
    settings = load(site, {}, with_secrets=False) if site else loaded(tmp_path)
    assert there_and_back(settings.site) == settings.site
    assert repr(there_and_back(settings.site)) == repr(settings.site)


def test_a_bare_site_loads_with_defaults(tmp_path: Path) -> None:
    settings = loaded(tmp_path, BARE)
    [recipe] = settings.site.recipes
    air = settings.site.air
    assert settings.site == Site(
        "quern-hill", "quern-hill", "Europe/London", recipes=(recipe,), air=air, kiln=kiln_figures()
    )
    assert replace(air, limits=()) == Air(), "the shipped levels are the core's"
    assert sum(stand.hours for stand in recipe.stands) == 48, "about two days: common practice, no source"
    assert {stand.kind for stand in recipe.stands} == {"wet", "dry"}
    assert (settings.broker.host, settings.broker.port, settings.broker.root) == (
        "127.0.0.1",
        1883,
        "quern-hill",
    )
    assert (settings.broker.subscribe, settings.broker.protocol) == (("quern-hill/#",), "auto")
    assert settings.broker.client_id == "malting-gateway-quern-hill"
    assert (settings.links.listen_host, settings.links.listen_port) == ("127.0.0.1", 8470)
    assert settings.links.public_url == "http://127.0.0.1:8470"


def test_turning_and_recipes_are_read_in_minutes_and_in_order(tmp_path: Path) -> None:
    text = changed(
        (
            "limit_c = 85\n",
            """limit_c = 85

[programme.floor]
rounds = ["22:00", "06:00"]
rise_k = 1.5

[recipe.long]
overdue_after_min = 45
stands = [{kind = "wet", hours = 6, water_c = 11}, {kind = "dry", hours = 12}]
""",
        )
    )
    site = loaded(tmp_path, text.replace('programme = "slow"', 'programme = "floor"')).site
    turning = site.programme["floor"].turning
    assert (turning.rounds, turning.rise_k, turning.spread_k) == ((360, 1320), 1.5, 3.0)
    [recipe] = site.recipes
    assert (recipe.id, recipe.overdue_after_min) == ("long", 45.0)
    assert [(one.kind, one.hours, one.water_c) for one in recipe.stands] == [
        ("wet", 6, 11),
        ("dry", 12, None),
    ]


def test_a_probe_with_three_keys_has_its_defaults(tmp_path: Path) -> None:
    probe = loaded(tmp_path).site.probe["kiln-air-on"]
    assert (probe.topic, probe.unit, probe.payload) == ("quern-hill/kiln/kiln-air-on", "Cel", "json")
    assert (probe.value, probe.time, probe.sequence, probe.battery) == ("/v", "/t", "/n", "/b")
    assert (probe.every_s, probe.silent_after_s) == (60.0, 900.0)
    assert (probe.range_low, probe.range_high) == (None, None)
    assert (probe.plausible_low, probe.plausible_high) == (-40.0, 150.0)


def test_range_plausible_and_calibration_are_in_the_probes_own_unit(tmp_path: Path) -> None:
    text = changed(
        (
            'unit = "[degF]"',
            'unit = "[degF]"\nrange = [14, 140]\nplausible = [-40, 212]\ngain = 1.5\noffset = 9',
        )
    )
    probe = loaded(tmp_path, text).site.probe["bed-b-mid"]
    assert (probe.range_low, probe.range_high) == pytest.approx((-10.0, 60.0))
    assert (probe.plausible_low, probe.plausible_high) == pytest.approx((-40.0, 100.0))
    # 68 F read, 1.5 x 68 + 9 = 111 F meant, which is 43.888 C; the core calibrates 20 C.
    fixed = probe.to_fixed_gain * 68.0 + probe.to_fixed_offset
    assert fixed == pytest.approx(20.0)
    assert probe.gain * fixed + probe.offset == pytest.approx((111.0 - 32.0) * 5 / 9)


def test_plausible_is_never_inside_the_range(tmp_path: Path) -> None:
    text = changed(("range = [-20, 60]", "range = [-200, 60]"))
    probe = loaded(tmp_path, text).site.probe["bed-a-mid"]
    assert (probe.plausible_low, probe.plausible_high) == (-200.0, 150.0)


def test_places_have_names_programmes_and_air_limits(tmp_path: Path) -> None:
    site = loaded(tmp_path).site
    assert [place.name for place in site.places] == ["Bed A", "Bed B", "Lower room", "Kiln"]
    assert [place.programme for place in site.places] == ["floor", "slow", None, "hot"]
    assert [place.co2_high_ppm for place in site.places] == [None, None, 5000.0, None]
    assert set(site.programme) == {"floor", "slow", "hot"}


def test_what_a_programme_leaves_out_comes_from_the_shipped_one(tmp_path: Path) -> None:
    """Between the shipped days 2 and 3, day 2.5 takes the middle."""
    text = changed(("day = 3\nturn_at_c = 18", "day = 2.5"))
    slow = loaded(tmp_path, text).site.programme["slow"]
    assert slow.days == (
        Day(0.0, 13.5, 17.0, 21.0, 25.0, 10.0, 8.0, 12.0),
        Day(2.5, 15.0, 17.5, 22.0, 25.0, 10.0, 8.0, 12.0),
    )
    assert slow.couch == Couch(20.0, 25.0, 8.0, 30.0)
    assert (slow.deadband_k, slow.on_delay_s, slow.off_delay_s) == (0.5, 600.0, 600.0)
    assert (slow.strict_high_c, slow.strict_urgent_c) == (22.0, 25.0)


def test_a_site_may_bring_its_own_programme_for_beds_that_name_none(tmp_path: Path) -> None:
    text = SITE + "\n[programme.floor]\nstrict_high_c = 20\n"
    site = loaded(tmp_path, text).site
    assert site.programme["floor"].strict_high_c == 20.0
    assert site.programme["floor"].days == shipped()["floor"].days


def test_a_kilns_programme_without_stages_is_its_cap(tmp_path: Path) -> None:
    text = SITE[: SITE.index("[[programme.hot.stage]]")]
    hot = loaded(tmp_path, text).site.programme["hot"]
    assert (hot.stages, hot.cap_c) == ((), 90.0)


def test_programmes_may_lie_in_files_of_their_own(tmp_path: Path) -> None:
    (tmp_path / "p.toml").write_text("[programme.spare]\nstrict_high_c = 21\n")
    text = changed(('name = "Quern Hill Maltings"', 'programme_files = ["p.toml"]'))
    assert loaded(tmp_path, text).site.programme["spare"].strict_high_c == 21.0


@pytest.mark.parametrize(
    ("text", "line", "key", "expected"),
    [
        (
            "[programme.spare]\nstrict_high_c = 30\n",
            1,
            "programme.spare.strict_urgent_c",
            "more than strict_high_c",
        ),
        ("\n[programme.slow]\n", 2, "programme.slow", "a name of its own"),
        ("[floor]\n", 1, "floor", "nothing but [programme.NAME]"),
        ("a = 1\nb = \n", 2, "", "TOML"),
    ],
)
def test_a_fault_in_a_programme_file_names_that_file(
    text: str, line: int, key: str, expected: str, tmp_path: Path
) -> None:
    (tmp_path / "p.toml").write_text(text)
    site = changed(('name = "Quern Hill Maltings"', 'programme_files = ["p.toml"]'))
    faults = faults_of(tmp_path, site)
    assert [(one.file, one.line, one.key) for one in faults] == [(str(tmp_path / "p.toml"), line, key)]
    assert expected in faults[0].expected


def test_people_phones_shifts_and_call_steps(tmp_path: Path) -> None:
    phone = '\n[[phone]]\nperson = "ada"\nkind = "webhook"\nurl = "https://x/2"\nsecret_file = "ada.key"\n'
    call = '\n[callout]\ngoing_hold_s = 60\nmorning = "06:30"\nnight_to = "24:00"\n'
    text = changed(('from = "00:00"\nto = "24:00"', 'from = "22:00"\nto = "22:00"')) + phone + call
    settings = loaded(tmp_path, text)
    site = settings.site

    assert site.people == (Person("ada", "Ada", "maltster"),)
    assert site.phones == (Phone("ada-1", "ada", "webhook"), Phone("ada-2", "ada", "webhook"))
    assert settings.phones["ada-2"].url == "https://x/2"
    assert site.shifts == (Shift(("ada",), (0, 1, 2, 3, 4, 5, 6), 1320, 2760),)
    assert site.callout == Callout(going_hold_s=60.0, morning_min=390, night_to_min=0)


@pytest.mark.parametrize(
    ("content", "secret"),
    [
        (KEY + "\n", base64.b64decode(KEY[6:])),
        (KEY, base64.b64decode(KEY[6:])),
        ("whsec_" + "QUJD" * 8 + "QQ", b"ABC" * 8 + b"A"),
        ("just thirty characters as is  \r\n", b"just thirty characters as is  "),
    ],
)
def test_a_phones_secret(content: str, secret: bytes, tmp_path: Path) -> None:
    path = write(tmp_path)
    (tmp_path / "ada.key").write_bytes(content.encode())
    settings = load(path, {})
    assert settings.phones["ada-1"].secret == secret
    assert settings.warnings == ()


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "not empty"),
        (b"\n", "not empty"),
        (b"whsec_!!", "whsec_ and base64"),
        (b"x" * 4097, "4,096 bytes"),
    ],
)
def test_a_secret_that_is_none(content: bytes, expected: str, tmp_path: Path) -> None:
    path = write(tmp_path)
    (tmp_path / "ada.key").write_bytes(content)
    faults, _ = check(path, {})
    assert [one.key for one in faults] == ["phone[0].secret_file"]
    assert expected in faults[0].expected


def test_an_open_or_short_secret_is_a_warning(tmp_path: Path) -> None:
    path = write(tmp_path)
    (tmp_path / "ada.key").write_text("short")
    (tmp_path / "ada.key").chmod(0o644)
    faults, warnings = check(path, {})
    assert faults == []
    assert [one.key for one in warnings] == ["phone[0].secret_file"] * 2
    assert "chmod o= ada.key" in warnings[0].expected
    assert "24 to 64 bytes, not 5" in warnings[1].expected


def test_a_folder_in_the_secrets_place_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    faults = faults_of(tmp_path, changed(('secret_file = "ada.key"', 'secret_file = "folder"')))
    assert [str(one).rpartition(": ")[2] for one in faults] == [
        "expected a file that can be read (a directory)"
    ]


def test_secrets_print_as_stars(tmp_path: Path) -> None:
    (tmp_path / "pw").write_text("open sesame\n")
    text = changed(("port = 18883", 'port = 18883\nusername = "gateway"\npassword_file = "pw"'))
    settings = loaded(tmp_path, text)

    assert settings.broker.password == "open sesame"
    phone = settings.phones["ada-1"]
    said = f"{settings} {settings!r} {settings.broker} {phone} {phone.secret!r} {settings.phones}"
    assert "sesame" not in said
    assert KEY[6:] not in said
    assert repr(bytes(phone.secret)) not in said
    assert "8471" not in said


def test_secrets_may_lie_in_a_folder_of_their_own(tmp_path: Path) -> None:
    path = write(tmp_path)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (tmp_path / "ada.key").rename(elsewhere / "ada.key")

    assert [one.key for one in check(path, {})[0]] == ["phone[0].secret_file"]
    assert load(path, {SECRETS_FOLDER: str(elsewhere)}).phones["ada-1"].secret == base64.b64decode(KEY[6:])


def test_a_replay_needs_no_secrets(tmp_path: Path) -> None:
    path = write(tmp_path)
    (tmp_path / "ada.key").unlink()
    settings = load(path, {}, with_secrets=False)
    assert settings.phones["ada-1"].secret == b""
    with pytest.raises(SiteFault):
        load(path, {})


def test_fresh_keys_are_written_once_and_for_their_owner_only(tmp_path: Path) -> None:
    written = write_keys(EXAMPLE, tmp_path)
    assert [path.name for path in written] == ["ada.key", "ben.key", "cleo.key", "dan.key"]
    assert {path.stat().st_mode & 0o777 for path in written} == {0o600}
    texts = [path.read_text() for path in written]
    assert len(set(texts)) == 4
    assert write_keys(EXAMPLE, tmp_path) == []
    assert [path.read_text() for path in written] == texts


@pytest.mark.parametrize(
    ("keys", "tls", "port"),
    [
        ("", False, 1883),
        ("tls = true", True, 8883),
        ('tls_ca_file = "ca.pem"', True, 8883),
        ("tls = true\nport = 5", True, 5),
    ],
)
def test_tls(keys: str, tls: bool, port: int, tmp_path: Path) -> None:
    (tmp_path / "ca.pem").write_text("-----BEGIN CERTIFICATE-----\n")
    broker = loaded(tmp_path, changed(("port = 18883", keys))).broker
    assert (broker.tls, broker.port) == (tls, port)
    assert broker.tls_ca_file == (tmp_path / "ca.pem" if "ca.pem" in keys else None)


def test_the_door_may_listen_on_an_ipv6_address(tmp_path: Path) -> None:
    links = loaded(tmp_path, changed(('listen = "127.0.0.1:8470"', 'listen = "[::1]:0"'))).links
    assert (links.listen_host, links.listen_port, links.public_url) == ("::1", 0, "http://[::1]:0")


def test_line_ends_of_another_system_change_nothing(tmp_path: Path) -> None:
    path = write(tmp_path)
    site = load(path, {}).site
    path.write_bytes(SITE.replace("\n", "\r\n").encode())
    assert load(path, {}).site == site


def test_whole_numbers_become_floats(tmp_path: Path) -> None:
    """The journal would give them back as floats; the site must be the same before and after."""
    site = loaded(tmp_path).site
    numbers = [site.floors[0].length_m, site.places[0].from_m, site.probes[0].every_s, site.probes[0].at_m]
    assert [type(one) for one in numbers] == [float] * 4
    assert math.isfinite(sum(one or 0.0 for one in numbers))
