"""What several tests of this package read."""

import json
from pathlib import Path

import pytest


@pytest.fixture
def mano_words() -> dict[int, int]:
    """The binary rows of tests/reference/mano.json: M. Morris Mano, Computer System Architecture, 3rd ed., table 7-3,
    written down from memory and derived again from its symbols."""
    table = json.loads((Path(__file__).parent.parent / "reference" / "mano.json").read_text())
    return {row["address"]: int(row["word"], 2) for row in table["binary"]}
