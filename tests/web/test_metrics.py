"""What a recorder takes of the gateway, read by the parser that comes with the format's own client library
(prometheus_client; the format is OpenMetrics 1.0, https://prometheus.io/docs/specs/om/open_metrics_spec/)."""

from __future__ import annotations

from typing import Any

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parsed

from gateway.core import views
from gateway.web import metrics
from tests.web.conftest import Site


@pytest.fixture
def families(site: Site) -> dict[str, Any]:
    """Every family by its name, asked for as a recorder does."""
    answer = site.as_role("viewer", "GET", "/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    assert answer.text.endswith("\n# EOF\n")
    found = list(parsed(answer.text))
    assert len({one.name for one in found}) == len(found), "each family once"
    return {one.name: one for one in found}


def test_the_format_s_own_parser_reads_it(families: dict[str, Any]) -> None:
    types = {name: one.type for name, one in families.items()}
    assert types == {
        "malting_gateway": "info",
        "malting_messages": "counter",
        "malting_alarms_standing": "gauge",
        "malting_probes": "gauge",
        "malting_bed_hottest_celsius": "gauge",
        "malting_notices_due": "gauge",
        "malting_journal_entries": "gauge",
        "malting_broker_connected": "gauge",
        "malting_open_pages": "gauge",
    }
    assert all(one.documentation and one.samples for one in families.values())


def test_units_stand_in_the_names_and_counters_end_in_total(families: dict[str, Any]) -> None:
    for name, one in families.items():
        assert not one.unit or name.endswith(f"_{one.unit}")
        wanted = {"counter": "_total", "info": "_info", "gauge": ""}[one.type]
        assert {sample.name for sample in one.samples} == {name + wanted}
    assert families["malting_bed_hottest_celsius"].unit == "celsius"


def test_the_figures_are_the_gateway_s_own(site: Site, families: dict[str, Any]) -> None:
    reader = site.lived.reader()
    messages = {one.labels["what"]: one.value for one in families["malting_messages"].samples}
    assert messages == reader.counts()
    assert messages["kept"] > 100
    standing = {
        (one.labels["kind"], one.labels["priority"]): one.value
        for one in families["malting_alarms_standing"].samples
    }
    assert sum(standing.values()) == len(reader.alarms(False)) > 0
    hottest = {one.labels["bed"]: one.value for one in families["malting_bed_hottest_celsius"].samples}
    rows = {row["bed"]: row["hottest_c"] for row in site.lived.ask(views.beds)}
    assert hottest == {bed: c for bed, c in rows.items() if c is not None}
    assert sum(one.value for one in families["malting_probes"].samples) == len(site.lived.site().probes)
    [journal] = families["malting_journal_entries"].samples
    assert journal.value == reader.last_stamp()[0]


def test_counters_never_go_back(site: Site, families: dict[str, Any]) -> None:
    site.lived.let_pass(0.5)
    after = {one.name: one for one in parsed(site.as_role("viewer", "GET", "/metrics").text)}
    before = {one.labels["what"]: one.value for one in families["malting_messages"].samples}
    later = {one.labels["what"]: one.value for one in after["malting_messages"].samples}
    assert all(later[what] >= value for what, value in before.items())
    assert later["kept"] > before["kept"]


@pytest.mark.parametrize("name", ['a"b', "a\\b", "a\nb", "\\n", '\\"', "ü ß", "a,b}c{"])
def test_any_label_is_read_back_as_it_was(site: Site, name: str) -> None:
    found = {one.name: one for one in parsed(metrics.text(site.lived, name, 0))}
    assert found["malting_gateway"].samples[0].labels == {"version": name}


def test_a_gateway_to_which_nothing_has_happened_is_read_too(fresh: Site) -> None:
    token = fresh.tokens.add("recorder", "viewer")
    answer = fresh.ask("GET", "/metrics", headers={"authorization": f"Bearer {token}"})
    assert {one.name for one in parsed(answer.text)} >= {"malting_gateway", "malting_open_pages"}
    assert fresh.ask("GET", "/metrics").status_code == 401
