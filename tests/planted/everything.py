"""All planted faults."""

from tests.planted import kiln, lock, mill, organ, scales, siding, weir, winch

PLANTED = (*weir.PLANTED, *mill.PLANTED, *organ.PLANTED, *kiln.PLANTED, *lock.PLANTED, *winch.PLANTED,
           *scales.PLANTED, *siding.PLANTED)
"""Every fault that is planted somewhere."""

LARGE = lock.PLANTED
"""Those with thousands of states: too many for the plain search in a quick test."""
