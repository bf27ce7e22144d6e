"""The encoding of a text file: the plan's, else the mark at its start, else UTF-8, else a single-byte one.

A library that guesses among a hundred encodings errs on the few accents of an inventory; of the four that the offices
of Africa and Latin America leave behind, the one whose signs read as parts of words is taken, and that is told.
"""

from __future__ import annotations

import codecs
import re

from planner.errors import Fault
from planner.plan import Inventory
from planner.tables.files.raw_table import clip, told
from planner.tables.step import Finding

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_SINGLE_BYTE = ("cp1252", "cp850", "mac_roman")
_SIGNS = frozenset("°²³µ–—…ºª½¼¾€·±")
_QUOTES = frozenset("‘’“”«»\u00a0")
_ACCENTED = frozenset("àâäáãåçéèêëíìîïñóòôöõúùûüýÿœæß")
_RARE = frozenset("äåëìïòùûýÿœßöæî")  # in English, French, Portuguese, Spanish and Swahili
_SEEN = 2000  # signs beyond ASCII that are looked at


def decode(data: bytes, settings: Inventory, faults: list[Fault]) -> tuple[str, str, list[Finding]] | None:
    """The text without a byte-order mark, its encoding and what is told of it; None and a fault if there is none."""
    if settings.encoding is not None:
        text = _as_stated(data, settings.encoding, settings.file, faults)
        return None if text is None else (text, settings.encoding, [])
    encoding = next((name for mark, name in _MARKS if data.startswith(mark)), None) or _without_mark(data)
    try:
        text = data.decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        if encoding != "utf-8" or _mostly_utf8(data):
            _fault(data, error, encoding, settings.file, faults)
            return None
    else:
        return text, encoding, [] if encoding == "utf-8" else [told("encoding", encoding)]
    return _single_byte(data)


def _as_stated(data: bytes, encoding: str, file: str, faults: list[Fault]) -> str | None:
    try:
        text = data.decode(encoding)
        text.encode("utf-8")  # some encodings let half a surrogate pair through
    except UnicodeDecodeError as error:
        _fault(data, error, encoding, file, faults)
        return None
    except (LookupError, UnicodeError, ValueError):
        expected = "an encoding of this text, for example utf-8 or cp1252"
        faults.append(Fault(file, "[inventory] encoding", clip(encoding), expected))
        return None
    return text.removeprefix("\ufeff")


def _fault(data: bytes, error: UnicodeDecodeError, encoding: str, file: str, faults: list[Fault]) -> None:
    line = data[: error.start].count(b"\n") + 1
    found = f"{data[error.start : error.start + 4].hex(' ')}, which is not {encoding}"
    expected = "a file that is whole, or its [inventory] encoding, for example cp1252"
    faults.append(Fault(file, f"line {line}, byte {error.start + 1}", found, expected))


def _without_mark(data: bytes) -> str:
    """UTF-16 of mostly Latin text has a nought in every second byte."""
    sample = data[:4096]
    half = max(1, len(sample) // 2)
    even, odd = sample[0::2].count(0) / half, sample[1::2].count(0) / half
    if len(data) % 2 == 0 and odd > 0.5 and even < 0.05:
        return "utf-16-le"
    if len(data) % 2 == 0 and even > 0.5 and odd < 0.05:
        return "utf-16-be"
    return "utf-8"


def _mostly_utf8(data: bytes) -> bool:
    """Whether more signs are UTF-8 of several bytes than broken: then it is a damaged file, not another encoding."""
    text = data.decode("utf-8", "replace")
    broken = text.count("\ufffd")
    return sum(len(run) for run in re.findall(r"[^\x00-\x7f\ufffd]+", text)) > broken


def _single_byte(data: bytes) -> tuple[str, str, list[Finding]]:
    texts: dict[str, str] = {}
    for encoding in _SINGLE_BYTE:
        try:
            texts[encoding] = data.decode(encoding)
        except UnicodeDecodeError:
            continue
    likely = {encoding: _plausible(text) for encoding, text in texts.items()}
    best = max(likely, key=lambda encoding: likely[encoding])
    if likely[best] < 0.5:
        best = "cp1252" if "cp1252" in texts else "latin-1"
    text = texts.get(best) or data.decode(best)
    others = [share for encoding, share in likely.items() if encoding != best]
    sure = best == "cp1252" and likely[best] > max(others, default=0.0)
    words = sorted(set(re.findall(r"[^\s,;|\"]*[^\x00-\x7f][^\s,;|\"]*", text[:1_000_000])))[:5]
    old = ", ".join(word[:40] for word in words)
    return text, best, [told("encoding", best, old, "info" if sure else "warning")]


def _plausible(text: str) -> float:
    """Share of the signs beyond ASCII that stand as they do in words of Western languages."""
    seen, good = 0, 0.0
    for found in re.finditer(r"[^\x00-\x7f]", text):
        at = found.start()
        good += _fits(found[0], text[max(at - 1, 0) : at], text[at + 1 : at + 2])
        seen += 1
        if seen == _SEEN:
            break
    return good / seen if seen else 1.0


def _fits(sign: str, before: str, after: str) -> float:
    """How well a sign stands between its neighbours, 0 to 1."""
    if sign.lower() in _ACCENTED:
        weight = 0.6 if sign.lower() in _RARE else 1.0
        if sign.isupper():  # at the beginning of a word, or in a word of capitals
            return weight * (not before.isalpha() or (before.isupper() and not after.islower()))
        return weight * (not before.isupper() or not after.isupper())
    if sign in _QUOTES:
        return 1.0
    return float(sign in _SIGNS and not after.isalpha())
