"""Online tiles that a plan may name: what the page needs of the URL, and the host that its policy lets through."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from planner.errors import InternalError


def tile_source(url: str | None, attribution: str | None) -> dict[str, str] | None:
    """{"url", "host", "attribution"} for the page; None where the plan names none.

    url: as the plan checks it, https with {z}, {x} and {y}; attribution: whose map it is, shown as plain text.
    """
    if url is None:
        return None
    host = urlsplit(url).netloc
    if (
        not url.startswith("https://")
        or not host
        or not host.replace(".", "").replace("-", "").replace(":", "").isalnum()
    ):
        raise InternalError("tiles without a plain https host")
    return {"url": url, "host": host, "attribution": attribution or ""}


def image_policy(source: dict[str, Any] | None) -> list[str]:
    """The part of the page's content policy for pictures: that one host, or nothing."""
    return [] if source is None else [f"img-src https://{source['host']}"]
