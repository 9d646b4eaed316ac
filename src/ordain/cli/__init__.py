"""The commands, one module each, thin: arguments in, the pipeline called, findings shown, exit status out.

A run makes some hundred thousand small tuples that all live to its end. Looking for garbage among them again and again
takes a fifth of the time of a build, and already a tenth of that of the imports, so it is put off before these begin.
"""

import gc

gc.set_threshold(1_000_000, 20, 100)
