"""The file that a proof leaves for others to check: what it says, and how it is written (`docs/formats.md`)."""

import json
from collections.abc import Callable, Iterator
from hashlib import sha256
from typing import Any, NamedTuple, TypeVar

VERSION = 1
_HEAD = "ordain certificate"
Item = TypeVar("Item")


class Claim(NamedTuple):
    """What was found about one question. `states`: a set in which the machine begins and stays. `worst`: cycles of the
    longest wait. `ranks`: sets of states; from the first one leads what is asked for, from each other one a cycle into
    the one before. `path`: the way to what is asked for, each state as a 0, 1 or - for each bit. Sets are numbers of
    nodes."""

    check: str
    subject: str
    outcome: str
    states: int
    worst: int | None
    ranks: tuple[int, ...]
    path: tuple[str, ...]


class Certificate(NamedTuple):
    """`sources`: SHA-256 by file. `stores`: of their words (`digest`), by store. `bits`: (name, number) in the order of
    the diagram. `nodes`: (bit, node where it is 0, node where it is 1); the first one is number 2, 0 and 1 are false
    and true."""

    made_by: str
    machine: str
    sources: tuple[tuple[str, str], ...]
    stores: tuple[tuple[str, str], ...]
    bits: tuple[tuple[str, int], ...]
    claims: tuple[Claim, ...]
    nodes: tuple[tuple[int, int, int], ...]


class Damaged(Exception):
    """Why a file is no certificate."""


def digest(words: tuple[int, ...], bits: int) -> str:
    """SHA-256 of the words of a store, each in whole bytes, low byte first."""
    return sha256(b"".join(word.to_bytes((bits + 7) // 8, "little") for word in words)).hexdigest()


def written(certificate: Certificate) -> bytes:
    said = certificate._asdict() | {"claims": [claim._asdict() for claim in certificate.claims],
                                    "nodes": len(certificate.nodes)}
    body = json.dumps(said, separators=(",", ":"), ensure_ascii=True).encode() + b"\n"
    body += b"".join(seven_bits(bit) + seven_bits(at - low) + seven_bits(at - high)
                     for at, (bit, low, high) in enumerate(certificate.nodes, 2))
    return f"{_HEAD} {VERSION} {sha256(body).hexdigest()}\n".encode() + body


def seven_bits(value: int) -> bytes:
    """Seven bits a byte, the lowest first; the highest bit of a byte says that more follow."""
    found = bytearray()
    while value > 127:
        found.append(value & 127 | 128)
        value >>= 7
    return bytes((*found, value))


def read(data: bytes) -> Certificate:
    """Raises Damaged."""
    head, _, body = data.partition(b"\n")
    words = head.split(b" ")
    if words[:2] != _HEAD.encode().split(b" ") or len(words) != 4:
        raise Damaged("it is no certificate")
    if words[2] != str(VERSION).encode():
        raise Damaged("it has another form than this version knows")
    if words[3] != sha256(body).hexdigest().encode():
        raise Damaged("it is not as it was written")
    line, _, packed = body.partition(b"\n")
    try:
        said = json.loads(line)
        bits = _list(said["bits"], lambda bit: (_text(bit[0]), _whole(bit[1])))
        nodes = _nodes(packed, _whole(said["nodes"]), len(bits))
        return Certificate(_text(said["made_by"]), _text(said["machine"]), _list(said["sources"], _pair),
                           _list(said["stores"], _pair), bits,
                           _list(said["claims"], lambda claim: _claim(claim, len(nodes) + 2, len(bits))), nodes)
    except (ValueError, KeyError, IndexError, TypeError, RecursionError, AttributeError, StopIteration) as fault:
        raise Damaged(f"it does not say what a certificate says ({type(fault).__name__})") from None


def _claim(said: Any, nodes: int, bits: int) -> Claim:
    def a_set(value: Any) -> int:
        if _whole(value) >= nodes:
            raise ValueError("no such node")
        return int(value)

    def a_state(value: Any) -> str:
        if len(_text(value)) != bits or value.strip("01-"):
            raise ValueError("no state")
        return str(value)

    return Claim(_text(said["check"]), _text(said["subject"]), _text(said["outcome"]), a_set(said["states"]),
                 None if said["worst"] is None else _whole(said["worst"]), _list(said["ranks"], a_set),
                 _list(said["path"], a_state))


def _nodes(packed: bytes, count: int, bits: int) -> tuple[tuple[int, int, int], ...]:
    numbers = _numbers(packed)
    found = []
    for at in range(2, count + 2):
        bit, low, high = next(numbers), at - next(numbers), at - next(numbers)
        if bit >= bits or not (0 <= low < at and 0 <= high < at):
            raise ValueError("no such node")
        found.append((bit, low, high))
    if next(numbers, None) is not None:
        raise ValueError("more nodes than were announced")
    return tuple(found)


def _numbers(packed: bytes) -> Iterator[int]:
    value = shift = 0
    for byte in packed:
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            yield value
            value = shift = 0
        elif shift > 63:
            raise ValueError("a number that long")
    if shift:
        raise ValueError("it is cut off")


def _list(value: Any, item: Callable[[Any], Item]) -> tuple[Item, ...]:
    if type(value) is not list:
        raise TypeError("no list")
    return tuple(item(each) for each in value)


def _pair(value: Any) -> tuple[str, str]:
    first, second = value
    return _text(first), _text(second)


def _text(value: Any) -> str:
    if type(value) is not str:
        raise TypeError("no text")
    return value


def _whole(value: Any) -> int:
    if type(value) is not int or value < 0:
        raise TypeError("no number from 0 up")
    return int(value)
