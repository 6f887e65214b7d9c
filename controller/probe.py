"""One zone's soil probe: is the soil too wet to water, and is the probe to be believed?"""

from . import const

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from .plan import ZonePart

_NEVER = const(-1)
_VWC_LEAST_PPT = const(20)  # below: air, an open wire or a shrunk-away probe
_VWC_MOST_PPT = const(550)  # above: more water than clay has pores
_STUCK_PPT = const(3)  # less than this is noise, not change
_MUCH_RAIN_UM = const(25000)  # in two days: it must show on a probe
_STUCK_RAIN_S = const(604800)  # a week for it to show half a metre down in watered clay
_STUCK_WET_S = const(1728000)  # twenty days wet since the last rain: not believed
_JUMP_PPT = const(150)  # between two polls, without rain: a loose wire
_TRUST_AGAIN_S = const(86400)  # a day of good readings makes a probe trusted again


class Probe:
    """Hysteresis and trust. Fed at polls while its zone is shut: the hose beside it misleads."""

    trusted = True
    wet = False
    ppt = -1  # the last reading, trusted or not
    _read_up_s = -1  # the last reading, or the first time there was none
    _bad_up_s = -86400  # the last time it was not believed
    _rain_um = 0  # rain since boot at the last reading
    _used_s = 0  # what its zone was given today, at the last call
    # The mark a reading is measured against to see the soil change, when the probe last moved away
    # from it, and since when it should have moved, for all the rain.
    _mark_ppt = 9999  # so far from any reading that the first one moves it
    _mark_up_s = -1
    _rained_up_s = -1
    _low_ppt = 0  # between these two, not included, a reading has nothing to tell
    _high_ppt = 0

    def __init__(self, zone: "ZonePart", stale_s: int) -> None:
        """`stale_s`: how long no reading is borne with."""
        self._zone = zone
        self._stale_s = stale_s

    def read(self, ppt: "int | None", up_s: int, rain_um: int, used_s: int, lately_um: int) -> bool:
        """Take a reading.

        Args:
            ppt: volumetric water content, or None
            up_s: seconds since boot
            rain_um: all rain on open ground since boot
            used_s: seconds of water that the zone was given today
            lately_um: rain on open ground of today and yesterday

        Returns True if `wet` or `trusted` changed.
        """
        if (
            ppt is None
            or not self._low_ppt < ppt < self._high_ppt
            or lately_um >= _MUCH_RAIN_UM
            or (self.wet and (lately_um or up_s - self._mark_up_s >= _STUCK_WET_S))
        ):
            return self._judge(ppt, up_s, rain_um, used_s, lately_um)
        self.ppt = ppt
        self._read_up_s = up_s
        self._rain_um = rain_um
        self._used_s = used_s
        return False

    def _judge(
        self, ppt: "int | None", up_s: int, rain_um: int, used_s: int, lately_um: int
    ) -> bool:
        """Take a reading, or none, that may change `wet` or `trusted`. Returns True if it does."""
        zone = self._zone
        last_ppt = self.ppt
        wet_ppt = zone.wet_off_ppt if self.wet else zone.wet_ppt
        if ppt is None:
            if self._read_up_s == _NEVER:
                self._read_up_s = up_s
            good = up_s - self._read_up_s < self._stale_s
        else:
            watered = rain_um != self._rain_um or used_s > self._used_s
            good = watered or last_ppt == _NEVER or abs(ppt - last_ppt) <= _JUMP_PPT
            moved_ppt = self._mark_ppt - ppt
            soaked = ppt >= wet_ppt
            if not soaked:  # soaked soil cannot get wetter, only drier; noise upwards is no change
                moved_ppt = abs(moved_ppt)
            if not _VWC_LEAST_PPT <= ppt <= _VWC_MOST_PPT:
                good = False
            elif moved_ppt >= _STUCK_PPT or (soaked and (lately_um or last_ppt < wet_ppt)):
                self._mark_ppt = ppt
                self._mark_up_s = up_s
                self._rained_up_s = _NEVER
            elif soaked:
                good = good and up_s - self._mark_up_s < _STUCK_WET_S
            elif self._rained_up_s != _NEVER:
                good = up_s - self._rained_up_s < _STUCK_RAIN_S
            else:
                good = True
                if lately_um >= _MUCH_RAIN_UM:
                    self._rained_up_s = up_s
            self.ppt = last_ppt = ppt
            self._read_up_s = up_s
            self._rain_um = rain_um
        self._used_s = used_s
        if not good:
            self._bad_up_s = up_s
        trusted = up_s - self._bad_up_s >= _TRUST_AGAIN_S
        wet = trusted and last_ppt >= wet_ppt
        changed = wet != self.wet or trusted != self.trusted
        self.wet = wet
        self.trusted = trusted
        self._expect(last_ppt)
        return changed

    def _expect(self, last_ppt: int) -> None:
        """See which readings have nothing to tell: near the mark, while nothing is in doubt.

        In soaked soil all those that are no jump from one another, nor from the last.
        """
        self._high_ppt = 0
        if self.trusted and self._rained_up_s == _NEVER:
            wet_ppt = self._zone.wet_ppt
            low_ppt = self._mark_ppt - _STUCK_PPT
            high_ppt = min(self._mark_ppt + _STUCK_PPT, wet_ppt)
            if self.wet:
                low_ppt = max(low_ppt, wet_ppt - 1, last_ppt - _JUMP_PPT - 1)
                high_ppt = min(low_ppt, last_ppt) + _JUMP_PPT
            self._low_ppt = max(low_ppt, _VWC_LEAST_PPT - 1)
            self._high_ppt = min(high_ppt, _VWC_MOST_PPT + 1)
