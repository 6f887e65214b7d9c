"""Imported once by the process that all workers are forked from, so that each has this at hand.

What they import takes a second or two, and so does the compiled ground until its first step.
"""

import signal

import numpy as np

signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asked

import evenclay.sim.report.ways  # noqa: E402, F401
from evenclay.sim.section import Ground, Section, Zone  # noqa: E402

Section(Ground(), [Zone()]).live(np.zeros(24), np.zeros(24))
