"""What a style gives: the text of a machine and of its microprogram."""

from typing import NamedTuple


class Source(NamedTuple):
    """`machine` names `bench.micro` as its microprogram. `promela`: the same model, "" where it was not written."""

    machine: str
    micro: str
    promela: str = ""


def rules(fault: str, start: str, end: str, rare: str, other: str, goal: str, home: str, asked: str, answer: str,
          within: int, forgiven: str, long: int = 64) -> str:
    """Ten rules of all forms over conditions of the machine. `within`, `long`: cycles."""
    lines = [
        f'rule "no fault" never {fault}',
        f'rule "not both" never ({rare}) and ({other}) and ({goal})',
        f'rule "not twice running" never ({goal}) and prior({goal})',
        f'rule "it happens" reach {goal}',
        f'rule "it happens otherwise" reach {rare}',
        f'rule "always again" always reach {home}',
        f'rule "in time" when {asked} then {answer} within {within} cycles unless {forgiven}',
        f'rule "in time, plainly" when {goal} then {end} within {long} cycles unless {forgiven}',
        f'rule "in between" between {start} and {end} never {fault} after {rare}',
        f'rule "not before" after {goal} never {fault} until {start}',
    ]
    return "\n".join(lines) + "\n"
