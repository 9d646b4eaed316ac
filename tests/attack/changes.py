"""Changes of files: by line and token, as somebody would who does not know the language, and byte by byte.

`choose` takes a sequence and gives one of its members: `random.Random(seed).choice`, or a draw of hypothesis.
"""

import json
import re
from collections.abc import Callable, Sequence
from hashlib import sha256
from typing import Any

Choose = Callable[[Sequence[Any]], Any]

TOKEN = re.compile(r"\w+|\s+|[^\w\s]")
ODD_WORDS = ("0", "1", "-1", "9" * 30, "0x", "0xFFFFFFFFFFFFFFFF", "65536 bits", "(" * 300, "not " * 300, '"', "#",
             "\t", "\x1b[31m", "\u202e", "é", "日本", "\ufeff", "..", "../../secret", "if", "choose", "prior(")
ODD_BYTES = (b"\x00", b"\xff", b"\x1b", b"\r", b"\n", b" ", b":", b"S", b"@", b"\x85", b"\xe2\x80\xae", b"{", b"]")
ODD_VALUES: tuple[Any, ...] = (None, True, -1, 0, 1 << 70, 1.5, "", "0", "../x", "\udc80", "\x1b[31m", "a" * 5000, [],
                               {}, [[]], {"a": 1})


def text(data: bytes, choose: Choose) -> bytes:
    """Up to four changes of tokens and lines."""
    for _ in range(choose((1, 1, 1, 2, 4))):
        decoded = data.decode("utf-8", "surrogateescape")
        if choose((True, False)):
            tokens = TOKEN.findall(decoded) or [""]
            at = choose(range(len(tokens)))
            tokens[at:at + choose((0, 1, 1, 3))] = [choose((choose(tokens), choose(ODD_WORDS), "", choose(tokens)))]
            decoded = "".join(tokens)
        else:
            lines = decoded.split("\n")
            at, other = choose(range(len(lines))), choose(range(len(lines)))
            match choose(("out", "twice", "swap", "in", "out by")):
                case "out":
                    del lines[at]
                case "twice":
                    lines.insert(other, lines[at])
                case "swap":
                    lines[at], lines[other] = lines[other], lines[at]
                case "in":
                    lines[at] = "    " + lines[at]
                case _:
                    lines[at] = lines[at].lstrip()
            decoded = "\n".join(lines)
        data = decoded.encode("utf-8", "surrogateescape")
    return data


def some_bytes(data: bytes, choose: Choose) -> bytes:
    """Up to four changes of bytes."""
    for _ in range(choose((1, 1, 2, 4))):
        at = choose(range(len(data) + 1))
        match choose(("flip", "put", "out", "cut", "again")):
            case "flip" if at < len(data):
                data = data[:at] + bytes((data[at] ^ 1 << choose(range(8)),)) + data[at + 1:]
            case "put":
                data = data[:at] + choose(ODD_BYTES) * choose((1, 1, 1, 500)) + data[at:]
            case "out":
                data = data[:at] + data[at + choose((1, 2, 16)):]
            case "cut":
                data = data[:at]
            case _:
                data = data[:at] + data[max(0, at - choose((1, 16, 200))):]
    return data


def values(said: Any, choose: Choose) -> Any:
    """A JSON value with one part of it replaced, left out or given twice."""
    said = json.loads(json.dumps(said))
    places = list(_places(said))
    if not places:
        return choose(ODD_VALUES)
    holder, key = choose(places)
    match choose(("odd", "odd", "other", "out", "twice")):
        case "odd":
            holder[key] = choose(ODD_VALUES)
        case "other":
            other, place = choose(places)
            holder[key] = json.loads(json.dumps(other[place]))
        case "out":
            del holder[key]
        case _ if isinstance(holder, list):
            holder.insert(key, holder[key])
    return said


def _places(said: Any) -> Any:
    keys = said.keys() if isinstance(said, dict) else range(len(said)) if isinstance(said, list) else ()
    for key in list(keys):
        yield said, key
        yield from _places(said[key])


def json_file(data: bytes, choose: Choose) -> bytes:
    """A manifest, or the lines of a ledger."""
    if choose((True, False, False)):
        return some_bytes(data, choose)
    lines = data.split(b"\n")
    if data.startswith(b'{"format"'):
        return json.dumps(values(json.loads(data), choose)).encode()
    at = choose(range(len(lines)))
    if lines[at]:
        lines[at] = json.dumps(values(json.loads(lines[at]), choose)).encode()
    return b"\n".join(lines)


def summed(data: bytes, choose: Choose) -> bytes:
    """A cache entry or certificate whose first line ends in the sum of the rest, which is made right again."""
    if choose((True, False, False, False)):
        return some_bytes(data, choose)
    head, _, body = data.partition(b"\n")
    line, end, rest = body.partition(b"\n")
    if choose((True, True, False)):
        line = json.dumps(values(json.loads(line), choose)).encode()
    else:
        rest = some_bytes(rest, choose)
    body = line + end + rest
    return b" ".join((*head.split(b" ")[:-1], sha256(body).hexdigest().encode())) + b"\n" + body
