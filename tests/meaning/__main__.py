"""`python -m tests.meaning --seconds 300`: machines by chance, whose instructions are run and held against what
they are said to do."""

import sys

from tests.meaning.hunting import hunt
from tests.seeded import hunted

if __name__ == "__main__":
    sys.exit(hunted("tests.meaning", __doc__, hunt))
