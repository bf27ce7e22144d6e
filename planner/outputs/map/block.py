"""The data block of the page: JSON that is safe inside a script, or, for many sites, packed bytes in base64.

Plain: codes of columns are texts of digits to base 64, every column of one width; works in any browser.
Packed: one zlib stream in base64. It holds the length of the JSON (4 bytes, low byte first), the JSON, and the codes of
the columns as planes of bytes, the lowest plane first; in the JSON a column's codes are [where they begin, planes].
"""

from __future__ import annotations

import base64
import json
import re
import zlib
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planner.errors import InternalError

DIGITS = np.frombuffer(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_", dtype=np.uint8)
BASE = len(DIGITS)
LEVEL = 6  # of zlib; 9 takes three times as long for one per cent

_UNSAFE = re.compile("[<>&\u2028\u2029\ud800-\udfff]")


def safe_json(value: Any, codes: Callable[[NDArray[np.int64]], Any] | None = None) -> str:
    r"""JSON that can stand in a script element: no markup, no line separator, no half of a surrogate pair.

    codes: how an array of codes is written, by default as digits

    >>> safe_json({"name": "</script>", "codes": np.array([1, 65])})
    '{"name":"\\u003c/script\\u003e","codes":"ABBB"}'
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=codes or digits)
    return _UNSAFE.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def digits(codes: NDArray[np.int64]) -> str:
    """Whole numbers from 0 upwards as digits, each of as many as the largest needs; "" where all are 0.

    >>> digits(np.array([1, 65])), digits(np.array([0, 0]))
    ('ABBB', '')
    """
    width = _width(codes, BASE)
    places = BASE ** np.arange(width - 1, -1, -1, dtype=np.int64)
    written: bytes = DIGITS[codes[:, None] // places % BASE].tobytes()
    return written.decode("ascii")


def packed_block(value: Any) -> str:
    """The block as base64 of one zlib stream; the same value gives the same text."""
    planes: list[bytes] = []
    at = 0

    def place(codes: NDArray[np.int64]) -> list[int]:
        nonlocal at
        begin, width = at, _width(codes, 256)
        planes.extend((codes >> 8 * plane).astype(np.uint8).tobytes() for plane in range(width))
        at += width * codes.size
        return [begin, width]

    text = safe_json(value, place).encode("utf-8")
    packer = zlib.compressobj(LEVEL)
    parts = [packer.compress(part) for part in (len(text).to_bytes(4, "little"), text, *planes)]
    return base64.b64encode(b"".join([*parts, packer.flush()])).decode("ascii")


def _width(codes: NDArray[np.int64], base: int) -> int:
    """Digits to a base that the largest code needs; 0 where all are 0."""
    if not isinstance(codes, np.ndarray):
        raise InternalError(f"{type(codes).__name__} in the data of the page")
    width = 0
    while codes.size and base**width <= codes.max():
        width += 1
    return width
