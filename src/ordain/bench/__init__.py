"""What a person sees who steps the machine by hand: for every clock the lamps as they must look, and what to set.

Relies on machine, rom, control and data. In: cycles of a trace, or of a run. Out: steps (`model`), which `show.card`
puts on paper.
"""
