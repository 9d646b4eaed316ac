"""The 74181 written in our language, with its functions for the meanings of instructions: all of them are proved.

Source: Motorola, FAST AND LS TTL DATA, SN54/74LS181, function table p. 5-3, as in tests/reference/alu181.json (there
with what was done to read it). The unit below is that of the logic diagram, p. 5-2: two terms of each bit, from the
selects, and an adder; without carries it gives their difference turned."""

import ast
import json
from pathlib import Path

from tests.meaning.till import FETCH, MACHINE, outcomes

TABLE = json.loads((Path(__file__).parents[1] / "reference" / "alu181.json").read_text())["table"]
UNIT = MACHINE.replace("words of 20 bits", "words of 28 bits").replace("store control 64", "store control 256") \
    .replace("field less     1 bit\n", "field less     1 bit\nfield select   4 bits, idle 0\nfield logic    1 bit\n"
             "field carry    1 bit\n") \
    .replace("6 bits", "8 bits") \
    .replace("signal sum = acc - temp if less else acc + temp\n", """\
signal s0 = select[0]
signal s1 = select[1]
signal s2 = select[2]
signal s3 = select[3]
signal b0 = (b and {s0, s0, s0, s0}) or (not b and {s1, s1, s1, s1})
signal one = a or b0
signal two = (a and not_b and {s2, s2, s2, s2}) or (a and b and {s3, s3, s3, s3})
signal not_b = not b
signal a = acc[3:0]
signal b = temp[3:0]
signal four = not (one xor two) if logic else one + two + {0b000, carry}
signal sum = {0b0000, four}
""")


def in_our_words(formula: str) -> str:
    """`A+(A&~B)` in the language, every part in brackets."""
    def part(node: ast.expr) -> str:
        match node:
            case ast.Name(id=name):
                return {"A": "a", "B": "b"}[name]
            case ast.Constant(value=value):
                return str(value)
            case ast.UnaryOp(op=ast.Invert(), operand=operand):
                return f"(not {part(operand)})"
            case ast.UnaryOp(op=ast.USub()):
                return "0xF"
            case ast.BinOp(left=left, op=op, right=right):
                sign = {ast.BitAnd: "and", ast.BitOr: "or", ast.BitXor: "xor", ast.Add: "+", ast.Sub: "-"}[type(op)]
                return f"({part(left)} {sign} {part(right)})"
        raise AssertionError(ast.dump(node))

    return part(ast.parse(formula, mode="eval").body)


def test_all_functions_of_the_table() -> None:
    text, titles, opcode = FETCH.replace("others", "0"), [], 1
    for row in TABLE:
        select = int("0b" + row["S"].replace("H", "1").replace("L", "0"), 2)
        for kind, carry in (("logic", 0), ("arithmetic", 0), ("arithmetic", 1)):
            formula = in_our_words(row["active_high"][kind])
            title = f"{row['S']} {kind} {carry}"
            said = f"({formula}) + {carry}"
            text += f'instruction {opcode} "{title}"\n    means let f = 0b0000 + {said}, ' \
                    f"acc <- {{0b0000, f}}\n        put sum, load acc, select {select}" \
                    f"{', logic' if kind == 'logic' else ''}{', carry' if carry else ''}, branch home\n"
            titles.append(title)
            opcode += 1
    machine = UNIT.replace("register ir   4 bits, loads data[3:0]", "register ir   8 bits, loads data") \
        .replace("store entry 16 words", "store entry 256 words")
    found = outcomes(text, machine)
    assert len(titles) == 48 and all(found[title].way is not None for title in titles), \
        {title: found[title] for title in titles if found[title].way is None}
    wrong = text.replace("select 9", "select 6", 1)
    assert any(one.difference is not None for one in outcomes(wrong, machine).values())
