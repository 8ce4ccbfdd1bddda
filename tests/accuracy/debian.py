"""Fetch music that Debian packages carry, without installing them."""

from __future__ import annotations

import subprocess
from pathlib import Path


def unpack(package: str, out: Path) -> Path:
    """Download a Debian package with apt and unpack it below `out`; done once."""
    target = out / package
    if target.is_dir():
        return target
    out.mkdir(parents=True, exist_ok=True)
    subprocess.run(["apt-get", "download", "-q", package], cwd=out, check=True)
    archive = next(out.glob(f"{package}_*.deb"))
    subprocess.run(["dpkg-deb", "-x", str(archive), str(target)], check=True)
    return target
