"""Good inputs spoiled: bytes flipped, cut, repeated; words replaced by odd ones; JSON with odd values in its places."""

from __future__ import annotations

import copy
import json
import random
from typing import Any

NUMBERS = ("0", "-1", "1e400", "9" * 400, "NaN", "Infinity", "1e-320", "2147483648", "18446744073709551616", "0.1", "٣")
WORDS = (
    b"",
    b"\0",
    b"\r",
    b"\n",
    b"\x1b[2J",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\xed\xa0\x80",
    b'"',
    b"'",
    b"#",
    b",",
    b";",
    b"\t",
    b"E1",
    b"D1",
    b"E999999",
    b"width",
    b"tight at E2",
    b"too long",
    b"%00",
    b"../",
    b"\\",
    b"{",
    b"[" * 50,
    "²".encode(),
    "\u2028".encode(),
    b"1/0",
    *(n.encode() for n in NUMBERS),
)
ODD: tuple[Any, ...] = (
    None,
    True,
    "",
    "x",
    "\0",
    "\ud800",
    -1,
    0,
    1e308,
    -1e308,
    5e-324,
    10**30,
    10**400,
    [],
    {},
    [[]],
    [None],
    "E1",
    "9" * 400,
    "a" * 5000,
    [1, 2],
    {"a": 1},
    "\x1b[2J",
    1e9,
    0.5,
)


def spoiled(rng: random.Random, good: bytes, most: int = 5) -> bytes:
    """Some bytes with a few things done to them."""
    out = bytearray(good)
    for _ in range(rng.choice((1, 1, 2, most))):
        at = rng.randrange(len(out) + 1)
        what = rng.randrange(7)
        if what == 0 and out:
            out[min(at, len(out) - 1)] ^= 1 << rng.randrange(8)
        elif what == 1:
            del out[at : at + rng.choice((1, 2, 4, 16, 200))]
        elif what == 2:
            out[at:at] = rng.choice(WORDS)
        elif what == 3:
            n = rng.choice((1, 4, 30, 300))
            out[at:at] = out[at : at + n] * rng.choice((1, 2, 50))
        elif what == 4:
            out[at : at + 4] = rng.choice((b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\0\1"))
        elif what == 5 and rng.random() < 0.3:
            del out[at:]
        else:
            out[at : at + 8] = rng.randbytes(8)
        del out[2_000_000:]
    return bytes(out)


def respoken(rng: random.Random, good: str) -> str:
    """Some words in another order, with odd ones among them."""
    words = good.split(" ")
    for _ in range(rng.choice((0, 1, 1, 2, 5))):
        at, what = rng.randrange(len(words) + 1), rng.randrange(5)
        if what == 0:
            words[at:at] = [rng.choice(WORDS).decode("utf-8", "replace")]
        elif what == 1:
            del words[at : at + 1]
        elif what == 2:
            words[at:at] = words[at : at + 3] * rng.choice((1, 5, 200))
        elif what == 3:
            rng.shuffle(words)
        elif words:
            words[min(at, len(words) - 1)] += rng.choice(WORDS).decode("utf-8", "replace")
    return rng.choice((" ", " ", "", "\n", ", ")).join(words)


def reshaped(rng: random.Random, good: Any) -> Any:
    """Plain JSON values with odd ones in some of their places, or without some of them."""
    out = copy.deepcopy(good)
    for _ in range(rng.choice((1, 1, 1, 3))):
        places = list(_places(out))
        if not places:
            return rng.choice(ODD)
        holder, key = rng.choice(places)
        what = rng.randrange(9)
        if what == 0:
            del holder[key]
        elif what > 4:  # a number that might well be
            numbers = [(h, k) for h, k in places if type(h[k]) in (int, float) and abs(h[k]) < 1e300]
            if numbers:
                h, k = rng.choice(numbers)
                h[k] *= rng.choice((0, -1, 0.5, 2, 1e3, 1e-3, 1 + 1e-9, 1e12))
        elif what == 1 and isinstance(holder, list):
            holder[key:key] = [copy.deepcopy(holder[key])] * rng.choice((1, 3, 40))
        elif what == 2:
            holder[key] = copy.deepcopy(rng.choice(places)[0])
        else:
            holder[key] = copy.deepcopy(rng.choice(ODD))
    return out


def _places(value: Any, depth: int = 0) -> Any:
    if depth > 12:
        return
    if isinstance(value, dict | list):
        for key in list(value) if isinstance(value, dict) else range(len(value)):
            yield value, key
            yield from _places(value[key], depth + 1)


def as_json(rng: random.Random, good: Any) -> bytes:
    """A JSON file that was spoiled in its values, in its bytes, or in both."""
    try:
        text = json.dumps(reshaped(rng, good) if rng.random() < 0.8 else good, ensure_ascii=rng.random() < 0.5)
    except (ValueError, RecursionError):
        text = "{"
    data = text.encode("utf-8", "surrogatepass")
    for _ in range(rng.choice((0, 0, 1, 3))):
        data = data.replace(rng.choice((b"1", b"2", b"0.", b"60")), rng.choice(NUMBERS).encode(), 1)
    return spoiled(rng, data, 2) if rng.random() < 0.2 else data
