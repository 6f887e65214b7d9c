"""The types that rooms of the simulator hand to each other: arrays, and lines of output files."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Line = dict[str, Any]  # what becomes one object of JSON, or one row of a table
