"""A word carries a field code that the machine does not define."""

from collections.abc import Iterator

from ordain.checks.check import Explanation
from ordain.checks.columns import columns_of
from ordain.checks.wording import spot_at
from ordain.machine.model import Field
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place, error

EXPLANATION = Explanation(
    name="undefined-code",
    fault="a word carries a field code that the machine does not define",
    about="""\
A field with named codes holds another number. What the decoder does with it is not written down anywhere, so no
check can say anything about it. Words that the compiler makes from named codes cannot have one; words set by
number, `unused` words and erased cells can. Looked at are all placed words and every other cell that a sequence
presents.""",
    example="""\
field source 3 bits
    none   0 idle
    acc    1
    memory 2

        source 6                              # nothing is called 6""",
    repair="""\
Give the code a name in the field's block if the hardware knows it, or correct the word.""",
)


def examine(contents: Contents, executed: dict[str, frozenset[int]],
            allowed: dict[str, frozenset[int]]) -> Iterator[Finding]:
    """One finding for each word and field; cells in which nothing was placed are told together. `executed`
    are addresses of each store, `allowed` addresses at which nothing is said of a field."""
    for field in contents.machine.fields.values():
        sites = contents.sites.get(field.store, {})
        loose: list[int] = []
        for address in undefined_at(contents, field):
            if address in allowed[field.name]:
                continue
            if address in sites:
                yield _finding(contents, field, address, 1)
            elif address in executed.get(field.store, frozenset()):
                loose.append(address)
        if loose:
            yield _finding(contents, field, loose[0], len(loose))


def undefined_at(contents: Contents, field: Field) -> list[int]:
    """The addresses whose word has a value without a name in this field, found column by column; none where no value
    has a name."""
    if not field.codes:
        return []
    top = contents.machine.stores[field.store].bits - 1
    bits = columns_of(contents, field.store)[top - field.high:top - field.low + 1]
    everywhere = bits[0] | ~bits[0]
    known = ~everywhere
    for code in field.codes:
        value = code.value ^ ((1 << field.width) - 1 if field.active_low else 0)
        match = everywhere
        for place, ones in enumerate(bits):
            match = match & (ones if value >> (field.width - 1 - place) & 1 else ~ones)
        known = known | match
    return list((~known).search(1))


def is_undefined(field: Field, word: int) -> bool:
    """Whether a word has a value without a name in a field some values of which have one."""
    return bool(field.codes) and _value(field, word) not in {code.value for code in field.codes}


def _value(field: Field, word: int) -> int:
    everything = (1 << field.width) - 1
    return word >> field.low & everything ^ (everything if field.active_low else 0)


def _finding(contents: Contents, field: Field, address: int, count: int) -> Finding:
    value = _value(field, contents.words[field.store][address])
    at = spot_at(contents, field.store, address)
    more = f" and {count - 1} more such cells" if count > 1 else ""
    places = (Place(field.span, "the codes that are defined"),) if at.span is not None else ()
    return error("undefined-code", f"field `{field.name}` holds {value}, which has no name, {at.phrase}{more}",
                 at.span or field.span, f"`{field.name}` is {value} here", places=places,
                 help=f"name code {value} in the block of `{field.name}`, or set the field to a code that has a name")
