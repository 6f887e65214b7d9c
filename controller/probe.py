"""One zone's soil probe: is the soil too wet to water, and is the probe to be believed?"""

from controller._const import TYPE_CHECKING, const
from controller.limits import (
    JUMP_PPT,
    STALE_S,
    STUCK_PPT,
    STUCK_RAIN_S,
    STUCK_WET_S,
    TRUST_AGAIN_S,
    VWC_LEAST_PPT,
    VWC_MOST_PPT,
)

if TYPE_CHECKING:
    from controller.plan import ZonePart

_NEVER = const(-1)


class Probe:
    """Hysteresis and trust. Fed at polls while its zone is shut: the hose beside it misleads."""

    def __init__(self, zone: "ZonePart", stale_s: int = STALE_S) -> None:
        """`stale_s`: how long no reading is borne with."""
        self._zone = zone
        self._stale_s = stale_s
        self.trusted = True
        self.wet = False
        self.told_trusted = True  # what was last reported of the two
        self.told_wet = False
        self.ppt = _NEVER  # the last reading, trusted or not
        self._read_up_s = _NEVER  # the last reading, or the first time there was none
        self._bad_up_s = _NEVER  # the last time it was not believed
        self._rain_um = 0  # rain since boot at the last reading
        # The mark a reading is measured against to see the soil change, when the probe last moved
        # away from it, and since when it should have moved, for all the rain.
        self._mark_ppt = _NEVER
        self._mark_up_s = _NEVER
        self._rained_up_s = _NEVER
        self._calm = False

    def belong(self, zone: "ZonePart") -> None:
        """Take the zone's thresholds, from its plan."""
        self._zone = zone
        self._calm = False

    def read(
        self,
        ppt: "int | None",
        up_s: int,
        rain_um: int,
        watered: bool = False,
        bank_full: bool = False,
    ) -> bool:
        """Take a reading.

        Args:
            ppt: volumetric water content, or None
            up_s: seconds since boot
            rain_um: all rain on open ground since boot
            watered: whether the zone was watered since the last call
            bank_full: whether so much rain has reached the zone that no probe could miss it

        Returns True if `wet` or `trusted` changed.
        """
        if (
            ppt is not None
            and not bank_full
            and self._calm
            and self._mark_ppt - STUCK_PPT < ppt < self._mark_ppt + STUCK_PPT
        ):
            self.ppt = ppt
            self._read_up_s = up_s
            self._rain_um = rain_um
            return False
        wet = self.wet
        trusted = self.trusted
        if ppt is None:
            if self._read_up_s == _NEVER:
                self._read_up_s = up_s
            good = up_s - self._read_up_s < self._stale_s
        else:
            good = self._believable(ppt, up_s, rain_um, watered, bank_full)
            self.ppt = ppt
            self._read_up_s = up_s
            self._rain_um = rain_um
        if not good:
            self.trusted = False
            self._bad_up_s = up_s
        elif up_s - self._bad_up_s >= TRUST_AGAIN_S:
            self.trusted = True
        if not self.trusted or self.ppt < self._zone.wet_off_ppt:
            self.wet = False
        elif self.ppt >= self._zone.wet_ppt:
            self.wet = True
        # While nothing is in doubt, a reading near the mark that is neither wet nor near the end of
        # the range has nothing to tell.
        mark_ppt = self._mark_ppt
        self._calm = (
            self.trusted
            and self._rained_up_s == _NEVER
            and VWC_LEAST_PPT + STUCK_PPT <= mark_ppt < self._zone.wet_off_ppt - STUCK_PPT
        )
        return self.wet != wet or self.trusted != trusted

    def dry(self) -> bool:
        """Whether a trusted probe says that the strip is too dry."""
        return self.trusted and _NEVER < self.ppt < self._zone.dry_ppt

    def moist(self) -> bool:
        """Whether a trusted probe says that the strip is well inside its band again."""
        return self.trusted and 2 * self.ppt >= self._zone.dry_ppt + self._zone.wet_off_ppt

    def _believable(
        self, ppt: int, up_s: int, rain_um: int, watered: bool, bank_full: bool
    ) -> bool:
        if not VWC_LEAST_PPT <= ppt <= VWC_MOST_PPT:
            return False
        dry_spell = rain_um == self._rain_um and not watered
        jumped = dry_spell and self.ppt != _NEVER and abs(ppt - self.ppt) > JUMP_PPT
        soaked = ppt >= self._zone.wet_ppt
        # Soaked soil cannot get wetter, only drier; noise upwards is no change.
        moved = self._mark_ppt - ppt if soaked else abs(ppt - self._mark_ppt)
        if moved >= STUCK_PPT or self._mark_ppt == _NEVER or (soaked and bank_full):
            self._mark_ppt = ppt
            self._mark_up_s = up_s
            self._rained_up_s = _NEVER
            return not jumped
        if soaked:
            return up_s - self._mark_up_s < STUCK_WET_S and not jumped
        if bank_full and self._rained_up_s == _NEVER:
            self._rained_up_s = up_s
        return self._rained_up_s == _NEVER or up_s - self._rained_up_s < STUCK_RAIN_S
