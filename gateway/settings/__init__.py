"""The site file (TOML): read, checked, and turned into the core's Site and what the edges need.

settings = load("config/quern-hill.toml", os.environ)   # raises SiteFault with all faults at once
faults, warnings = check("config/quern-hill.toml", os.environ)
"""

from gateway.settings.edge import BrokerSettings, LinksSettings, PhoneSettings, SeriesSettings
from gateway.settings.fault import Fault, SiteFault
from gateway.settings.keys import write_keys
from gateway.settings.load import SECRETS_FOLDER, Settings, check, check_text, load

__all__ = [
    "SECRETS_FOLDER",
    "BrokerSettings",
    "Fault",
    "LinksSettings",
    "PhoneSettings",
    "SeriesSettings",
    "Settings",
    "SiteFault",
    "check",
    "check_text",
    "load",
    "write_keys",
]
