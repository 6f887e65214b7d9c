"""What a worker needs at hand: importing it makes the process that does so ready.

What it imports takes a second or two, and so does the compiled ground until its first step.
"""

from importlib import import_module

import numpy as np

from evenclay.sim.section import Ground, Section, Zone

import_module("evenclay.sim.report.ways")  # with all that lives and judges
Section(Ground(), [Zone()]).live(np.zeros(24), np.zeros(24))
