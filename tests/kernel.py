"""Compile the arithmetic of a section, once before two workers would each do it at the same time.

`make test` runs `python -m tests.kernel` beside its lint. In a fresh clone that takes a core for
half a minute; later it finds what numba kept.
"""

import numpy as np

from evenclay.sim.section import Ground, Section, Zone

if __name__ == "__main__":
    Section(Ground(), [Zone()]).live(np.zeros(24), np.zeros(24))
