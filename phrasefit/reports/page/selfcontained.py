"""How texts, data, style and script get into one HTML file that is safe to open.

Policy: W3C Content Security Policy Level 3, as a ``meta`` element.  Nothing may be
loaded from anywhere; one style block and one script block are allowed by their
SHA-256; recordings come as ``blob:``.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from functools import cache
from importlib.resources import files
from typing import Any

OWN = "'self' "


@cache
def part(name: str) -> str:
    """Read one of the files that the page is made of."""
    return (files("phrasefit.reports.page") / name).read_text(encoding="utf-8")


def filled(template: str, parts: dict[str, str]) -> str:
    """Put `parts` into the ``{{name}}`` places; what is put in is not searched again."""
    return re.sub(r"\{\{(\w+)\}\}", lambda match: parts[match[1]], template)


def policy(*, style: str, script: str = "", live: bool = False) -> str:
    """Write the policy that allows this style and this script and nothing else.

    A live page may also ask its own server for sound and news.
    """
    rules = ["default-src 'none'", f"style-src '{_hashed(style)}'"]
    if script:
        rules += [f"script-src '{_hashed(script)}'", f"media-src {OWN if live else ''}blob: data:"]
    if live:
        rules.append("connect-src 'self'")
    return "; ".join([*rules, "img-src data:", "base-uri 'none'", "form-action 'none'"])


def _hashed(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


def data_block(value: Any) -> str:
    """Write JSON that no text inside can end: ``<`` and all beyond ASCII are escaped."""
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")
