"""When a probe is doubted: the site's own figures, the shipped ones, and what is refused."""

from dataclasses import fields, replace
from pathlib import Path

import pytest

from gateway import settings
from gateway.core.estimate.honest_state import Figures
from gateway.settings.forms_honest import HonestForm
from gateway.settings.honest import shipped
from gateway.settings.words import keys_of
from tests.scenarios.floor import CONFIG
from tests.settings.test_probe_dates import lay_out


def test_what_is_shipped_is_what_a_judge_without_a_site_file_takes() -> None:
    assert shipped() == Figures()
    assert sorted(keys_of(HonestForm)) == sorted(one.name for one in fields(Figures))
    assert settings.load(CONFIG, {}, with_secrets=False).site.honest == shipped()


def test_the_sites_own_figures_stand_over_the_shipped_ones(tmp_path: Path) -> None:
    site = lay_out(tmp_path, "[honest]\nback_within_min = 60\nhand_k = 0.5\ngas_bump_days = 0\n")
    found = settings.load(site, {}, with_secrets=False).site.honest
    assert found == replace(shipped(), back_within_min=60.0, hand_k=0.5, gas_bump_days=0.0)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("still_times = 0.5", r"honest\.still_times.*0\.5"),
        ("air_k = 0", r"honest\.air_k.*0"),
        ("outdoor_ppm = 42", r"honest\.outdoor_ppm.*42"),
        ('jump_k = "far"', r"honest\.jump_k.*far"),
        ("stil_times = 3", r"honest\.stil_times"),
    ],
)
def test_what_cannot_be_is_refused_by_its_name(tmp_path: Path, line: str, expected: str) -> None:
    with pytest.raises(settings.SiteFault, match=expected):
        settings.load(lay_out(tmp_path, f"[honest]\n{line}\n"), {}, with_secrets=False)
