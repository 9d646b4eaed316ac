"""Traces as value change dumps, read back with pyvcd's tokenizer (an independent reader of IEEE 1364 dumps)."""

import io
import random

import pytest

from ordain.checks.run import questions
from ordain.control.model import Trace
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from ordain.rom.contents import Contents
from ordain.show.vcd import CYCLE, vcd
from tests.generated import machine_text, random_words

reader = pytest.importorskip("vcd.reader", reason="install the Python package pyvcd to have dumps read back")


def some_traces(seed: int) -> tuple[Contents, list[Trace]]:
    chance = random.Random(seed)
    contents = random_words(machine_text(chance.choice), chance.choice)
    asked = tuple(question for _, question in questions(contents) if question.kind == "bad")
    verdicts = decide(build_system(contents), asked, Limits()).verdicts
    return contents, [found.trace for verdict in verdicts for found in verdict.breaks if found.trace is not None]


def levels(text: str) -> tuple[dict[str, int], dict[int, dict[str, int | str]]]:
    """Widths by full name, and the value of everything at each time."""
    widths: dict[str, int] = {}
    named: dict[str, str] = {}
    scope: list[str] = []
    now: dict[str, int | str] = {}
    history: dict[int, dict[str, int | str]] = {}
    time = -1
    for token in reader.tokenize(io.BytesIO(text.encode())):
        match token.kind:
            case reader.TokenKind.SCOPE:
                scope.append(token.data.ident)
            case reader.TokenKind.UPSCOPE:
                scope.pop()
            case reader.TokenKind.VAR:
                name = ".".join((*scope, token.data.reference))
                assert name not in widths
                widths[name], named[token.data.id_code] = token.data.size, name
            case reader.TokenKind.CHANGE_TIME:
                assert token.data > time
                time = token.data
                history[time] = now = dict(now)
            case reader.TokenKind.CHANGE_SCALAR | reader.TokenKind.CHANGE_VECTOR:
                value = token.data.value
                now[named[token.data.id_code]] = int(value) if str(value) in "01" else value
    assert scope == []
    return widths, history


@pytest.mark.parametrize("seed", [1, 2, 5, 12, 33, 57])
def test_a_dump_read_back_is_the_trace(seed: int) -> None:
    contents, traces = some_traces(seed)
    assert traces
    for trace in traces:
        widths, history = levels(vcd(contents, trace))
        assert len(history) == 2 * len(trace.cycles) + 1
        machine = contents.machine
        for index, cycle in enumerate(trace.cycles):
            at = history[index * CYCLE]
            assert at["made.clock"] == 1 and history[index * CYCLE + CYCLE // 2]["made.clock"] == 0
            assert at["made.fault"] == int("node" in cycle.events)
            for store, address in cycle.addresses.items():
                assert at[f"made.{store}.address"] == address
                assert widths[f"made.{store}.address"] == machine.stores[store].address_width
            for bus in machine.buses.values():
                for driver in bus.drivers:
                    assert at[f"made.bus_{bus.name}.driven_by_{driver.name}"] == int(
                        driver.name in cycle.drivers[bus.name])
            for name, value in cycle.states.items():
                assert at[f"made.{name.replace(' ', '_')}"] == value
            for name in machine.inputs:
                if name in cycle.free:
                    place = f"made.{name}" if "." in name else f"made.free.{name}"
                    assert at[place] == (cycle.free[name] if name in cycle.matters else "x")
        assert history[len(trace.cycles) * CYCLE] == history[len(trace.cycles) * CYCLE - CYCLE // 2]


def test_the_same_trace_gives_the_same_text() -> None:
    contents, (trace, *_) = some_traces(5)
    assert vcd(contents, trace) == vcd(contents, trace)
    assert "$date" not in vcd(contents, trace)
