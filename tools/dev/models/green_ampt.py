"""Infiltration by Green and Ampt: a sharp wetting front, a check beside sim/section.

Units are the caller's, as long as they agree: depth in mm or cm, rates in that an hour.
Sources: Green & Ampt 1911; ponding under steady rain: Mein & Larson 1973; both as in Chow,
Maidment & Mays 1988, Applied Hydrology, sections 4.3 and 4.4.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Front:
    """A soil for a wetting front.

    conductivity: saturated, of the wetted soil. suction: at the front, as depth. deficit: water
    content that the front fills, 0..1.
    """

    conductivity: float
    suction: float
    deficit: float

    @property
    def pull(self) -> float:
        """Suction times deficit, as depth."""
        return self.suction * self.deficit

    def rate(self, infiltrated: float) -> float:
        """Infiltration rate under ponding once so much went in (above 0)."""
        return self.conductivity * (1.0 + self.pull / infiltrated)

    def ponded(self, hours: float, already: float = 0.0) -> float:
        """Depth infiltrated after so many hours under ponding, with so much in at their beginning.

        Solves F - F0 - pull ln((F + pull) / (F0 + pull)) = K t by Newton's method.
        """
        target = self.conductivity * hours
        if target <= 0.0 or self.pull <= 0.0:  # nothing pulls where the soil is full
            return already + target
        depth = already + target + math.sqrt(2.0 * self.pull * target)
        for _ in range(50):
            left = depth - already
            left -= self.pull * math.log((depth + self.pull) / (already + self.pull)) + target
            slope = depth / (depth + self.pull)
            step = left / slope
            depth -= step
            if abs(step) < 1e-13 * max(depth, 1.0):
                break
        return depth

    def ponding_time_h(self, intensity: float) -> float:
        """Hours of steady rain until water stands; inf where the soil takes all of it."""
        if intensity <= self.conductivity:
            return math.inf
        return self.conductivity * self.pull / (intensity * (intensity - self.conductivity))

    def infiltrated(self, intensity: float, hours: float) -> float:
        """Depth infiltrated of a steady rain."""
        until = self.ponding_time_h(intensity)
        if hours <= until:
            return intensity * hours
        return self.ponded(hours - until, intensity * until)
