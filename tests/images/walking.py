"""What was meant held against what the chips hold: every way that the board can go, word by word, and every address."""

from collections.abc import Mapping
from itertools import product

from tests.images.chips import Board
from tests.images.programs import OPCODES, Field, Program, Spot, Word

State = tuple[Spot, int, Spot | None, int, Spot | None, int]
"""What is meant to be executed, the address that the board presents; both for what a call has left; and the word whose
page was sent last, and what the board's register has of it."""


def differences(program: Program, board: Board) -> list[str]:
    """What is wrong with the chips, at most a few."""
    try:
        return [*_walked(program, board), *_elsewhere(program, board), *board.strays()][:6]
    except ValueError as two:
        return [str(two)]


def _word(program: Program, spot: Spot) -> Word | None:
    body = program.bodies.get(spot[0], ())
    return body[spot[1]] if spot[1] < len(body) else None


def _walked(program: Program, board: Board) -> list[str]:
    first: State = (("r0", 0), 0, None, 0, None, 0)
    seen, waiting, wrong = {first}, [first], []
    for name, address in program.fixed.items():
        wrong += [f"{name} at {address}: {one}" for one in unlike(program, board, program.bodies[name][0], address)]
    while waiting and len(wrong) < 6:
        spot, address, back, return_address, paged, pages = waiting.pop()
        word = _word(program, spot)
        if word is None:
            wrong.append(f"control goes past the end of {spot[0]}")
            continue
        found = [f"{spot} at {address}: {one}" for one in unlike(program, board, word, address)]
        if found:
            wrong += found
            continue
        for c0, c1, c2, opcode in product((0, 1), (0, 1), (0, 1), range(OPCODES)):
            there = goes_on(program, word, spot, back, c0, c1, c2, opcode)
            if there is None or (word.flow[0] == "over" and paged != there):
                continue
            where = presented(program, board, address, return_address, pages, c0, c1, c2, opcode)
            calls = word.flow[0] == "call"
            state: State = (there, where, (spot[0], spot[1] + 1) if calls else back,
                            (address + 1) % (1 << program.lines) if calls else return_address,
                            paged if word.page is None else word.page, _page(program, board, address, pages))
            if state not in seen:
                seen.add(state)
                waiting.append(state)
    return wrong


def goes_on(program: Program, word: Word, spot: Spot, back: Spot | None, c0: int, c1: int, c2: int,
            opcode: int) -> Spot | None:
    """Where the text says that control goes; None for where a routine ends that nobody has called."""
    way, *spots = word.flow
    on = (spot[0], spot[1] + 1)
    match way:
        case "jump" | "near" | "far" | "over" | "call":
            return spots[0]
        case "test":
            return spots[0] if c0 else on
        case "untest":
            return on if c1 else spots[0]
        case "wait":
            return spot if c2 else on
        case "skip":
            return (spot[0], spot[1] + 2) if c0 else on
        case "fork":
            return spots[c0]
        case "four":
            return spots[c1 << 1 | c0]
        case "back":
            return back
        case "go":
            return program.opcodes[opcode], 0
        case "second":
            return program.table[opcode], 0
    return on


def _page(program: Program, board: Board, address: int, pages: int) -> int:
    """What the page register has after the word at an address."""
    if program.kind != "far":
        return 0
    word = board.word("control", address)
    return program.fields["high"].read(word) if program.fields["turn"].read(word) else pages


def presented(program: Program, board: Board, address: int, return_address: int, pages: int, c0: int, c1: int, c2: int,
              opcode: int) -> int:
    """The address that comes next on the board, by the bits of the word that stands at this one."""
    word, fields, lines = board.word("control", address), program.fields, program.lines
    target, on, ones = fields["target"].read(word), address + 1, (1 << lines) - 1
    target <<= 2 if program.kind == "block" else 0
    match program.codes.get(fields["branch"].read(word)):
        case "step":
            there = target if program.kind == "successor" else on
        case "jump" | "call":
            there = target
        case "test":
            there = target if c0 else on
        case "untest":
            there = on if c1 else target
        case "wait":
            there = address if c2 else target if program.kind == "successor" else on
        case "skip":
            there = address + 2 if c0 else on
        case "fork":
            there = target & ~1 | c0
        case "four":
            there = target & ~3 | c1 << 1 | c0
        case "back":
            there = return_address
        case "near":
            there = address >> program.page << program.page | fields["near"].read(word)
        case "far":
            there = fields["high"].read(word) << program.page | fields["near"].read(word)
        case "over":
            there = pages << program.page | fields["near"].read(word)
        case "second":
            there = board.word("table", opcode)
        case "go" if program.kind == "wired":
            there = 1 << lines - 1 | opcode << 1
        case "go":
            entry = board.word("entry", opcode)
            there = {"entry": entry, "{0b1, entry}": 1 << lines - 1 | entry, "{entry, 0b0}": entry << 1}[program.entry]
        case _:
            there = 0
    return there & ones


def unlike(program: Program, board: Board, word: Word, address: int) -> list[str]:
    """In what the word at an address is not the one that was meant."""
    return unlike_fields(program.fields, program.spares, program.parity, board, word, address)


def unlike_fields(fields: Mapping[str, Field], spares: Mapping[int, int], parity: int, board: Board, word: Word,
                  address: int) -> list[str]:
    found = board.word("control", address)
    read = {name: field.read(found) for name, field in fields.items()}
    wrong = [f"{name} is {read[name]}, not {value}" for name, value in word.sets.items() if read[name] != value]
    ones = sum(read[name].bit_count() for name in ("mark", "src", "pulse", "check"))
    wrong += [] if ones % 2 == parity else [f"check is {read['check']}"]
    wrong += [] if board.repeated("control", address) else ["a bit is not the same in a second chip"]
    return wrong + [f"spare bit {bit} is {1 - level}" for bit, level in spares.items() if found >> bit & 1 != level]


def _elsewhere(program: Program, board: Board) -> list[str]:
    """Every address holds a word of the program, or what stands in words that stay free."""
    words = [word for body in program.bodies.values() for word in body]
    wrong = []
    for address in range(1 << program.lines):
        if any(not unlike(program, board, word, address) for word in words):
            continue
        if program.unused is None:
            wrong += [] if board.erased("control", address) else [f"{address} is neither a word nor erased"]
        else:
            wrong += [f"free {address}: {one}" for one in
                      unlike(program, board, Word(program.unused, ("on",)), address)]
    return wrong
