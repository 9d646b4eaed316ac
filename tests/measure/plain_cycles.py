"""Cycles of instructions by hand: every state one by one, over small machines made by chance.

Written from docs/cycles.md alone; of ordain it uses what goes in and comes out. What ends an instruction and what
breaks it off is said by the machines themselves, in the signals `over_now` and `cut_off`, which nothing else reads.
"""

from collections.abc import Callable, Iterable, Sequence, Set
from typing import Any, NamedTuple

import networkx as nx

from ordain.machine.expression import Node
from ordain.rom.contents import Contents
from tests.oracle import Model, State

Choose = Callable[[Sequence[Any]], Any]


class Made(NamedTuple):
    """A machine, its microprogram, and the mask of the address lines that only choose arms."""

    machine: str
    micro: str
    arms: int


class Counted(NamedTuple):
    """`waits`: the address sets of the rings, those that touch taken together; `most`: without waiting, where there are
    rings."""

    least: int | None
    most: int | None
    waits: frozenset[frozenset[int]]


def touching(rings: Iterable[set[int]]) -> frozenset[frozenset[int]]:
    graph: nx.Graph[int] = nx.Graph()
    for ring in rings:
        nx.add_cycle(graph, ring)
    return frozenset(frozenset(part) for part in nx.connected_components(graph))


# ---------------------------------------------------------------- the search by hand


class Cycle(NamedTuple):
    following: State
    address: int
    last: bool
    cut_off: bool
    home: bool


Node_ = tuple[State, bool]
"""A state, and whether the journey has been at home in every cycle up to now."""


class Plain:
    """Everything reachable, cycle by cycle."""

    def __init__(self, contents: Contents, made: Made) -> None:
        self.contents, self.arms = contents, made.arms
        machine = contents.machine
        assert machine.home is not None
        asked: tuple[Node, ...] = (machine.signals["over_now"].value, machine.signals["cut_off"].value, machine.home)
        model = Model(contents, asked)
        control = model.stores.index("control")
        self.cycles: dict[State, list[Cycle]] = {}
        self.starting = set(model.starts())
        waiting = list(self.starting)
        while waiting:
            state = waiting.pop()
            if state not in self.cycles:
                self.cycles[state] = list(dict.fromkeys(
                    Cycle(following, addresses[control], bool(values[0]), bool(values[1]), bool(values[2]))
                    for following, addresses, values, _ in model.cycles(state)))
                waiting += [cycle.following for cycle in self.cycles[state]]

    def first_words(self, title: str) -> set[int]:
        """The addresses of an instruction's first words, from its name in the list of words."""
        store = self.contents.machine.stores["control"]
        own = {address: site.word for address, site in self.contents.sites["control"].items() if site.owner == title}
        if store.step is None:
            return {address for address, word in own.items() if word == min(own.values())}
        high, low = store.step
        step = {address: address >> low & (1 << high - low + 1) - 1 for address in own}
        return {address for address in own if step[address] == min(step.values())}

    def instructions(self, titles: list[str]) -> dict[str, Counted]:
        first = {title: self.first_words(title) for title in titles}
        every = set().union(*first.values())
        between = self._between(every)
        return {title: self._counted({state for state in between if self._is_at(state, first[title])}, True, set())
                for title in titles}

    def fetch(self, titles: list[str]) -> Counted:
        """Nothing where an instruction begins with the boundary itself."""
        begins = set().union(*(self.first_words(title) for title in titles))
        return self._counted({state for state in self._arrivals(False) if self._at_home(state)
                              and any(cycle.address not in begins for cycle in self.cycles[state])}, False, begins)

    def _arrivals(self, anywhere: bool) -> set[State]:
        """Where something new may begin: after reset, after an end or a break, on coming home."""
        found = set(self.starting)
        for cycles in self.cycles.values():
            for cycle in cycles:
                if cycle.last or cycle.cut_off or (not cycle.home and self._at_home(cycle.following)):
                    found.add(cycle.following)
        return found

    def _between(self, begins: set[int]) -> set[State]:
        """Everywhere where nothing is under way yet."""
        found = self._arrivals(True)
        waiting = list(found)
        while waiting:
            for cycle in self.cycles[waiting.pop()]:
                if not cycle.last and cycle.address not in begins and cycle.following not in found:
                    found.add(cycle.following)
                    waiting.append(cycle.following)
        return found

    def _at_home(self, state: State) -> bool:
        return any(cycle.home for cycle in self.cycles[state])

    def _is_at(self, state: State, addresses: set[int]) -> bool:
        return any(cycle.address in addresses for cycle in self.cycles[state])

    # ------------------------------------------------------------ one instruction

    def _counted(self, start: set[State], instruction: bool, begins: set[int]) -> Counted:
        graph: nx.DiGraph[Node_] = nx.DiGraph()
        starts = {(state, True) for state in start}
        ending, late, going_on_at = set[Node_](), set[Node_](), dict[Node_, set[int]]()
        waiting = list(starts)
        graph.add_nodes_from(starts)
        while waiting:
            node = waiting.pop()
            state, homely = node
            for cycle in self.cycles[state]:
                if (cycle.home and not homely) or (not cycle.home and cycle.address in begins):
                    if instruction or not cycle.home:
                        late.add(node)
                elif not cycle.cut_off and cycle.last:
                    ending.add(node)
                elif not cycle.cut_off:
                    going_on_at.setdefault(node, set()).add(cycle.address)
                    after = (cycle.following, homely and cycle.home)
                    if after not in graph:
                        waiting.append(after)
                    graph.add_edge(node, after)
        rings = [part for part in nx.strongly_connected_components(graph)
                 if len(part) > 1 or any(graph.has_edge(node, node) for node in part)]
        waits = touching({address for node in part for address in going_on_at[node]} for part in rings)
        ends = sorted(self._ends(graph, starts, ending, late, waits))
        return Counted(self._least(graph, starts, ending, late), ends[-1] if ends else None, waits)

    def _place(self, node: Node_) -> int:
        (place,) = {cycle.address & ~self.arms for cycle in self.cycles[node[0]]}
        return place

    def _least(self, graph: "nx.DiGraph[Node_]", starts: set[Node_], ending: set[Node_],
               late: set[Node_]) -> int | None:
        found = []
        for start in starts:
            lengths = nx.single_source_shortest_path_length(graph, start)
            found += [lengths[node] + 1 for node in ending if node in lengths]
            found += [lengths[node] for node in late if lengths.get(node)]
        return min(found, default=None)

    def _ends(self, graph: "nx.DiGraph[Node_]", starts: set[Node_], ending: set[Node_], late: set[Node_],
              waits: Set[frozenset[int]]) -> set[int]:
        """The numbers of cycles of all who arrive and do not wait on the way."""
        arriving = ending | late | {before for node in ending | late for before in nx.ancestors(graph, node)}
        graph = graph.subgraph(arriving).copy()
        places = {address & ~self.arms for ring in waits for address in ring}
        ringed = {node for node in arriving if self._place(node) in places}
        inside = graph.subgraph(ringed).copy()
        out = {node for node in ringed if node in ending or any(after not in ringed for after in graph[node])}
        soonest = {node: self._soonest(inside, node, out, late) for node in ringed}
        counts, now, count = set[int](), {(node, False) for node in starts & arriving}, 0
        while now:
            best: dict[int, int] = {}
            for node, leaving in now:
                if node in ringed and not leaving:
                    best[self._place(node)] = min(soonest[node], best.get(self._place(node), soonest[node]))
            following = set()
            for node, leaving in now:
                if node in ringed and not leaving and soonest[node] > best[self._place(node)]:
                    continue
                if node in late and count and (node not in ringed or soonest[node] == 0):
                    counts.add(count)
                if node in ringed and soonest[node] == 0:
                    continue
                if node in ending and (node not in ringed or soonest[node] == 1):
                    counts.add(count + 1)
                for after in graph[node]:
                    if node not in ringed or (soonest[node] == 1 and after not in ringed):
                        following.add((after, False))
                    elif after in ringed and soonest[after] == soonest[node] - 1:
                        following.add((after, True))
            now, count = following, count + 1
        return counts

    def _soonest(self, inside: "nx.DiGraph[Node_]", node: Node_, out: set[Node_], late: set[Node_]) -> int:
        lengths = nx.single_source_shortest_path_length(inside, node)
        return min([lengths[other] for other in late & lengths.keys()]
                   + [lengths[other] + 1 for other in out & lengths.keys()])


# ---------------------------------------------------------------- machines by chance

CLOCKS = {
    "one": ([], "0b1"),
    "two": (["state half (high, low), reset high", "    next low if half is high else high"], "half is low"),
    "any": (["state half (high, low), reset any", "    next low if half is high else high"], "half is low"),
    "ready": (["input ready 1 bit"], "ready"),
    "settled": (["input raw 1 bit", "state ready 1 bit, reset 0", "    next raw"], "ready"),
    "slow": (["state beats 2 bits, reset 0", "    next 0 if beats is 2 else beats + 1"], "beats is 2"),
}
"""How long a word stands: (lines of the machine, when the next one comes)."""


def by_chance(choose: Choose) -> Made:
    kind = choose(("mapped", "wired", "stepped"))
    return _stepped(choose) if kind == "stepped" else _mapped(choose, kind == "wired")


def _codes(names: Sequence[str]) -> list[str]:
    return [f"    {name} {code}" + ("" if code else " idle") for code, name in enumerate(names)]


def _tail(choose: Choose, moves: list[str]) -> list[str]:
    lines = [*moves, "input line 1 bit", "condition free_1 1 bit", "bus data 2 bits, kept", "    driven by memory"]
    return lines + choose(([], [], ["assume line"], ["assume not (line and flag_1)"]))


ACTS = ("keep", "set", "clear", "turn", "take", "count")
TESTS = ("always", "line", "flag", "done")


def _mapped(choose: Choose, wired: bool) -> Made:
    clock, moves = CLOCKS[choose(tuple(CLOCKS))]
    stop = choose((False, False, True))
    reset_line = "0 if stop_key else " if stop else ""
    dispatch = "{0b01, op, 0b0}" if wired else "entry.word"
    lines = ["machine chance", 'microprogram "m.micro"', "store control 16 words of 16 bits", "    address upc"]
    lines += ["    starts at {0b01, op, 0b0}"] if wired else []
    lines += ["field test 2 bits", *_codes(TESTS),
              "field act 3 bits", *_codes(ACTS),
              "field way 3 bits", "    jump 0", "    call 1", "    back 2", "    end 3", "    dispatch 4",
              "field there 4 bits address, idle 0", "field other 4 bits address, idle 0"]
    lines += [] if wired else ["store entry 2 words of 4 bits", "    address op", "    word start of instruction"]
    lines += ["state upc 4 bits, reset 0", f"    next {reset_line}(chosen if moves else upc)",
              "signal chosen = choose way", "    jump: there if tested else other", "    call: there",
              "    back: kept_1", "    end: 0", f"    dispatch: {dispatch}", "    otherwise: 0",
              "state kept_1 4 bits, reset 0", "    next other if way is call and moves else kept_1",
              "state turns 2 bits, reset 0",
              f"    next turns + 1 if act is count{choose((' and moves', ''))} else turns",
              "state flag_1 1 bit, reset 0", "    next choose act", "        set: 1", "        clear: 0",
              "        turn: not flag_1", "        take: line", "        otherwise: flag_1",
              "signal tested = choose test", "    always: 1", "    line: free_1", "    flag: flag_1",
              "    done: turns is 2", f"signal moves = {moves}",
              "signal over_now = moves and (way is end or way is dispatch or way > 4)" + (" and not stop_key" * stop),
              f"signal cut_off = {'stop_key' if stop else '0b0'}",
              "register op 1 bit", "    loads data[0] when upc is 0", "home fetch",
              "order word <w> <t> <a> <x> <y> : way <w>, test <t>, act <a>, there <x>, other <y>",
              "order dispatch : way dispatch"]
    lines += ["input stop_key 1 bit"] if stop else []
    micro = ["routine boundary at 0"]
    if choose((False, True)):
        micro += ["    fetch: word jump line keep go fetch" if choose((False, True)) else
                  "    fetch: word jump always keep go go"]
        micro += ["    go: dispatch"]
    else:
        micro += ["    fetch: dispatch"]
    names = ["a1", "a2", "b1", "b2", "c1", "c2", "c3"]
    for number, name in enumerate(names):
        title = {"a1": 'instruction 0 "one"', "b1": 'instruction 1 "two"', "c1": "routine more"}.get(name)
        micro += [title] if title else []
        ahead = names[number + 1:] or names
        place = choose(names) if choose((0, 0, 0, 1)) else choose(ahead)
        ways = ("jump", "jump", "jump", "call", "back", "end", "end") if number < 6 else ("end", "end", "back", "jump")
        micro += [f"    {name}: word {choose(ways)} {choose(TESTS)} {choose(ACTS)} {place} {choose(ahead)}"]
    return Made("\n".join(lines + _tail(choose, clock)) + "\n", "\n".join(micro) + "\n", 0)


def _stepped(choose: Choose) -> Made:
    clock, moves = CLOCKS[choose(tuple(CLOCKS))]
    stop, has_prologue = choose((False, False, True)), choose((False, True, True))
    reset_line = "0 if stop_key else " if stop else ""
    first = choose(("flag_1", "free_1"))
    lines = ["machine chance", 'microprogram "m.micro"', "store control 32 words of 6 bits",
             f"    address {{{first}, turned, op, step}}", "    instruction op", "    step step",
             "    unused over", "field over 1 bit", "field stay 1 bit",
             "field act 3 bits", *_codes(ACTS), "spare 1 bit",
             "state step 2 bits, reset 0",
             f"    next {reset_line}((0 if over else (step if stay else step + 1)) if moves else step)",
             "state flag_1 1 bit, reset 0", "    next choose act", "        set: 1", "        clear: 0",
             "        turn: not flag_1", "        take: line", "        otherwise: flag_1",
             "state turned 1 bit, reset 0", f"    next {choose(('line', 'turned', 'flag_1'))}",
             f"signal moves = {moves}", f"signal over_now = over and moves{' and not stop_key' * stop}",
             f"signal cut_off = {'stop_key' if stop else '0b0'}",
             "register op 1 bit",
             f"    loads data[0] when {'step is 0' if has_prologue else f'over and {moves}'}", "home step is 0",
             "order act <a> : act <a>", "order over : over", "order stay : stay"]
    lines += ["input stop_key 1 bit"] if stop else []
    micro = ["prologue", f"    act {choose(ACTS[:5])}"] if has_prologue else []

    def word(last: bool) -> str:
        ending = choose(("", "", "stay", "over")) if not last else "over"
        return f"act {choose(ACTS[:5])}{', ' if ending else ''}{ending}"

    def arm(indent: str, steps: int, lines: list[str]) -> None:
        for number in range(steps):
            lines += [f"{indent}{word(number == steps - 1)}"]

    for opcode, title in ((0, "one"), (1, "two")):
        micro += [f'instruction {opcode} "{title}"']
        steps = choose((1, 2, 3)) + (not has_prologue)
        if choose((False, True)):
            micro += [f"    when {choose((first, 'turned', f'{first} and turned'))}"]
            arm("        ", steps, micro)
            micro += ["    otherwise"]
            arm("        ", choose((1, steps)), micro)
        else:
            arm("    ", steps, micro)
    return Made("\n".join(lines + _tail(choose, clock)) + "\n", "\n".join(micro) + "\n", 0b11000)
