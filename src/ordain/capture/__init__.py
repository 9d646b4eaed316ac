"""What a logic analyzer has written, from the file to one reading of every line a clock.

Relies on text alone. `read`: which format a file has. `session` (sigrok's .sr), `dump` (VCD, IEEE 1364-2005 clause 18),
`rows` (CSV as analyzers write it): changes of the channels, one after another, never the whole file at once. `timing`:
which channel is the clock, how long it takes. `sampling`: what stands on the lines just before its edges.
"""
