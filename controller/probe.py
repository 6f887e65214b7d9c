"""One zone's soil probe: is the soil too wet to water, and is the probe to be believed?"""

from controller._const import TYPE_CHECKING, const
from controller.limits import (
    JUMP_PPT,
    STALE_S,
    STUCK_PPT,
    STUCK_RAIN_UM,
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

    def __init__(self, zone: "ZonePart", up_s: int) -> None:
        self._zone = zone
        # Rain on open ground that must show on the probe; where no rain falls, none will.
        exposure_pct = zone.exposure_pct
        self._show_um = STUCK_RAIN_UM * 100 // exposure_pct if exposure_pct else 0x3FFFFFFF
        self.trusted = True
        self.wet = False
        self.ppt = _NEVER  # the last reading, trusted or not
        self._read_up_s = up_s
        self._bad_up_s = up_s  # the last time it was not believed
        self._rain_um = 0  # rain since boot at the last reading
        # The mark a reading is measured against to see the soil change: when the probe last moved
        # away from it, and the rain since boot at that time.
        self._mark_ppt = _NEVER
        self._mark_up_s = up_s
        self._mark_rain_um = 0

    def read(self, ppt: "int | None", up_s: int, rain_um: int) -> bool:
        """Take a reading; `rain_um` is all rain on open ground since boot.

        Returns True if `wet` or `trusted` changed.
        """
        wet = self.wet
        trusted = self.trusted
        if ppt is None:
            good = up_s - self._read_up_s < STALE_S
        else:
            good = self._believable(ppt, up_s, rain_um)
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
        return self.wet != wet or self.trusted != trusted

    def dry(self) -> bool:
        """Whether a trusted probe says that the strip is too dry."""
        return self.trusted and _NEVER < self.ppt < self._zone.dry_ppt

    def moist(self) -> bool:
        """Whether a trusted probe says that the strip is well inside its band again."""
        return self.trusted and 2 * self.ppt >= self._zone.dry_ppt + self._zone.wet_off_ppt

    def _believable(self, ppt: int, up_s: int, rain_um: int) -> bool:
        if not VWC_LEAST_PPT <= ppt <= VWC_MOST_PPT:
            return False
        jumped = self.ppt != _NEVER and abs(ppt - self.ppt) > JUMP_PPT and rain_um == self._rain_um
        soaked = ppt >= self._zone.wet_ppt
        # Soaked soil cannot get wetter, only drier; noise upwards is no change.
        moved = self._mark_ppt - ppt if soaked else abs(ppt - self._mark_ppt)
        rained = rain_um - self._mark_rain_um >= self._show_um
        if moved >= STUCK_PPT or self._mark_ppt == _NEVER or (soaked and rained):
            self._mark_ppt = ppt
            self._mark_up_s = up_s
            self._mark_rain_um = rain_um
            return not jumped
        if soaked:
            return up_s - self._mark_up_s < STUCK_WET_S and not jumped
        return not rained
