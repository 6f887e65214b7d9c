"""Imported once by the process that all workers are forked from, so that each has this at hand.

What they import takes a second or two, and so does the compiled ground until its first step.
"""

import numpy as np

import evenclay.sim.report.ways  # noqa: F401
from evenclay.sim.section import Ground, Section, Zone

Section(Ground(), [Zone()]).live(np.zeros(24), np.zeros(24))
