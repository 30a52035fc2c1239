"""Fresh secrets for the phones of a site, for a demonstration or a first start."""

from __future__ import annotations

import base64
import secrets
from pathlib import Path

from gateway.settings.read import read_document

KEY_BYTES = 32


def write_keys(site_file: Path | str, folder: Path | str) -> list[Path]:
    """Write a fresh key for each `secret_file` of a phone that is not there yet; returns the files written.

    Relative names lie in `folder`, which is what MALTING_SECRETS must then name (or the site file's own
    folder). Only their owner can read the files. Absolute names are left alone. Raises SiteFault where the
    site file is no TOML, OSError where a file cannot be written.
    """
    phones = read_document(Path(site_file)).data.get("phone", [])
    names = [phone.get("secret_file") for phone in phones if isinstance(phone, dict)]
    written = []
    for name in dict.fromkeys(name for name in names if isinstance(name, str) and name):
        path = Path(folder) / name
        if Path(name).is_absolute() or path.exists():
            continue
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.touch(mode=0o600, exist_ok=False)
        key = base64.b64encode(secrets.token_bytes(KEY_BYTES)).decode()
        path.write_text(f"whsec_{key}\n")
        written.append(path)
    return written
