"""`python -m tests.images --seconds 300`: programs by chance are built, and a board of our own walks their chips."""

import sys

from tests.images.hunting import hunt
from tests.seeded import hunted

if __name__ == "__main__":
    sys.exit(hunted("tests.images", __doc__, hunt))
