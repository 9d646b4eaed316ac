"""`python -m tests.faults --seconds 600`: faults of machines by chance, two ways, with fresh seeds."""

import sys

from tests.faults.hunting import hunt
from tests.seeded import hunted

if __name__ == "__main__":
    sys.exit(hunted("tests.faults", __doc__, hunt))
