"""The URL of online tiles in a plan: a pattern that can stand in a content policy and in a page."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator

# Plain letters only, so that the host can stand in the policy of the page: no user, quote, space, comma or semicolon.
_HOST = r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?(?:\.[a-z0-9](?:[a-z0-9-]*[a-z0-9])?)*"
_TILES = re.compile(rf"https://{_HOST}(?::\d{{1,5}})?/[A-Za-z0-9._~/%?&=+@:{{}}-]*")
_PLACES = ("{z}", "{x}", "{y}")


def _tile_url(url: str) -> str:
    bare = url
    for place in _PLACES:
        bare = bare.replace(place, "", 1)
    host, _, rest = url.removeprefix("https://").partition("/")
    if (
        not _TILES.fullmatch(url)
        or any(place in host or place not in rest for place in _PLACES)
        or re.search("[{}]", bare)
    ):
        raise ValueError(
            'an https address with {z}, {x} and {y} once each, like "https://tiles.example.org/{z}/{x}/{y}.png"'
        )
    return url


TileUrl = Annotated[str, AfterValidator(_tile_url)]
