"""The gateway's own connection to a broker as on a board: by TLS, verified, with its account."""

import random
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from gateway import settings
from gateway.core.accounts import accounts
from gateway.edges.credentials import Credentials
from gateway.edges.mqtt import MqttSource, Options
from gateway.live.daemon import _options
from tests.deploy.board import BoardBroker, Site, make_site, publish, until

pytestmark = pytest.mark.broker
Brokers = Callable[..., BoardBroker]


def options(site: Site, broker: BoardBroker, edit: Callable[[str], str] = lambda text: text) -> Options:
    """What the site file, changed by `edit`, makes of the connection."""
    own = site.file.parent / f"as-asked-{broker.port}-{random.random()}.toml"
    own.write_text(edit(site.file.read_text().replace("port = 8883", f"port = {broker.port}")))
    return _options(settings.load(own, {"MALTING_SECRETS": str(site.credentials / "gateway")}).broker)


@contextmanager
def connecting(wanted: Options) -> Iterator[MqttSource]:
    """A source that tries for as long as it is looked at."""
    source = MqttSource(wanted, session=0, monotonic=time.monotonic, draw=random.random)
    source.start()
    try:
        yield source
    finally:
        assert source.stop()


def refused(wanted: Options) -> str:
    """Why it did not come in."""
    with connecting(wanted) as source:
        why = until(lambda: source.facts()["fault"] != "not tried yet" and str(source.facts()["fault"]))
        assert not source.facts()["connected"]
        return why


def test_the_right_authority_and_password_come_in(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    wanted = options(site, broker)
    assert wanted.tls, "an authority in the site file means TLS"
    with connecting(wanted) as source:
        until(lambda: source.facts()["connected"])
        assert publish(broker, site, "a-low", "quern-hill/bed-a/a-low", '{"v":17.5}') == ""
        [message] = until(lambda: source.take(10, 0.1))
        assert message.payload == b'{"v":17.5}'
        source.settle([message])
        source.publish_status(b'{"state":"running"}')
        until(lambda: source.facts()["settled"] == 1)


def test_another_authority_is_refused(
    site: Site, board_brokers: Brokers, tmp_path_factory: pytest.TempPathFactory
) -> None:
    stranger = make_site(tmp_path_factory.mktemp("stranger"))
    broker = board_brokers(stranger)
    assert "CERTIFICATE_VERIFY_FAILED" in refused(options(site, broker))


def test_without_an_authority_of_its_own_the_systems_count(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    wanted = options(site, broker, lambda text: text.replace('tls_ca_file = "secrets/ca.pem"', "tls = true"))
    assert wanted.ca_file is None
    assert "CERTIFICATE_VERIFY_FAILED" in refused(wanted)


def test_a_certificate_for_another_host_is_refused(
    site: Site, board_brokers: Brokers, tmp_path: Path
) -> None:
    """The authority is the right one, the name in the broker's certificate is not (RFC 9525, section 6)."""
    shutil.copytree(site.credentials, tmp_path / "credentials")
    (tmp_path / "credentials" / "broker" / "server.pem").unlink()
    loaded = settings.load(site.file, {}, with_secrets=False)
    found = accounts(loaded.site, loaded.broker.root, loaded.broker.subscribe)
    other = Credentials(tmp_path / "credentials", loaded.site.id)
    other.make(found, ["elsewhere.example"], certificates=False)
    broker = board_brokers(site._replace(credentials=tmp_path / "credentials"))
    why = refused(options(site, broker))
    assert "CERTIFICATE_VERIFY_FAILED" in why
    assert "127.0.0.1" in why


def test_a_wrong_password_is_refused(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    assert "ot authorized" in refused(replace(options(site, broker), password="wrong"))


def test_a_certificate_instead_of_a_password(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site, certificates=True)

    def by_certificate(text: str) -> str:
        files = 'tls_cert_file = "secrets/gateway.pem"\ntls_key_file = "secrets/gateway.key"'
        text = text.replace(f"port = {broker.port}", f"port = {broker.certificate_port}")
        return text.replace('username = "gateway"\npassword_file = "secrets/broker.password"', files)

    wanted = options(site, broker, by_certificate)
    assert wanted.username is None
    with connecting(wanted) as source:
        until(lambda: source.facts()["connected"])
    assert refused(replace(wanted, certificate_file=None, key_file=None))


@pytest.mark.parametrize("name", ["broker.password", "gateway.key", "ada.key"])
def test_secrets_that_others_can_read_are_told(site: Site, tmp_path: Path, name: str) -> None:
    shutil.copytree(site.credentials / "gateway", tmp_path / "gateway")
    own = tmp_path / "site.toml"
    files = 'tls_cert_file = "secrets/gateway.pem"\ntls_key_file = "secrets/gateway.key"\n[links]'
    own.write_text(site.file.read_text().replace("[links]", files))
    where = {"MALTING_SECRETS": str(tmp_path / "gateway")}
    assert settings.check(own, where) == ([], [])
    (tmp_path / "gateway" / "secrets" / name).chmod(0o644)
    faults, [warning] = settings.check(own, where)
    assert faults == []
    assert f"closed to other users (chmod o= {name})" in str(warning)


def test_a_folder_that_systemd_loaded_is_read_as_it_names_its_files(site: Site, tmp_path: Path) -> None:
    """systemd.exec(5), LoadCredential=: the files of a folder `secrets` become secrets_NAME."""
    for file in (site.credentials / "gateway" / "secrets").iterdir():
        shutil.copy(file, tmp_path / f"secrets_{file.name}")
    assert settings.check(site.file, {"MALTING_SECRETS": str(tmp_path)}) == ([], [])
    loaded = settings.load(site.file, {"MALTING_SECRETS": str(tmp_path)})
    assert loaded.broker.password == site.password("gateway")
