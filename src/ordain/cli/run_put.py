"""`--put NAME=VALUE` of a run: what a register or state holds at power-up where the machine file leaves it open."""

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import click

if TYPE_CHECKING:
    from ordain.machine.model import Machine, Register, State
    from ordain.rom.contents import Contents


class Held(NamedTuple):
    """What a register or state is taken to hold at power-up."""

    name: str
    value: int
    width: int

    def __str__(self) -> str:
        return f"{self.name}={self.value:0{(self.width + 3) // 4}X}"


def held_and_words(machine: "Machine", texts: Sequence[str]) -> tuple[tuple[Held, ...], tuple[str, ...]]:
    """What the texts say of registers and states, the last of each counting; and the texts about words of memories.
    Raises click.BadParameter."""
    held: dict[str, Held] = {}
    words: list[str] = []
    for text in texts:
        place, _, value = text.partition("=")
        name = place.strip()
        if "@" in place or name in machine.memories:
            words.append(text)
        else:
            held[name] = _held(machine, name, value.strip())
    return tuple(held.values()), tuple(words)


def _held(machine: "Machine", name: str, value: str) -> Held:
    if name not in machine.registers and name not in machine.states:
        raise click.BadParameter(_unknown(machine, name), param_hint="--put")
    declared: Register | State = machine.registers[name] if name in machine.registers else machine.states[name]
    codes = () if name in machine.registers else machine.states[name].codes
    shown = codes.index(value) if value in codes else \
        int(value, 16) if re.fullmatch(r"[0-9A-Fa-f]+", value) else None
    if shown is None or shown >> declared.width:
        bits = f"{declared.width} bit{'' if declared.width == 1 else 's'}"
        raise click.BadParameter(f"`{value}` is no value for `{name}`: write {bits} in hexadecimal", param_hint="--put")
    if codes and shown >= len(codes):
        raise click.BadParameter(f"`{name}` has no such value: write one of {', '.join(codes)}", param_hint="--put")
    if declared.reset is not None:
        raise click.BadParameter(f"`{name}` is {declared.reset:X} at power-up, the machine file says. Change its "
                                 "`reset`", param_hint="--put")
    return Held(name, shown, declared.width)


def _unknown(machine: "Machine", name: str) -> str:
    from ordain.text.spelling import nearest

    open_ = [name for name, one in machine.registers.items() if one.reset is None]
    open_ += [name for name, one in machine.states.items() if one.reset is None]
    near = nearest(name, [*machine.memories, *machine.registers, *machine.states])
    said = f"no memory, register or state is called `{name}`."
    if near:
        return f"{said} Did you mean `{near}`?"
    return f"{said} There are: {', '.join([*machine.memories, *open_])}" if machine.memories or open_ else said


def with_held(contents: "Contents", held: Sequence[Held]) -> "Contents":
    """The same machine with these values after reset."""
    if not held:
        return contents
    values = {one.name: one.value for one in held}
    machine = contents.machine
    return contents._replace(machine=machine._replace(
        states={name: one._replace(reset=values.get(name, one.reset)) for name, one in machine.states.items()},
        registers={name: one._replace(reset=values.get(name, one.reset)) for name, one in machine.registers.items()}))
