"""What a strip lacks: a small model of the ground, carried on from day to day.

Plain functions on integers; the hub keeps their results in its record, and the desktop runs this
same source by the thousand. Water is in micrometres of depth over the strip. What a store lacks is
the water that would bring it to pF 2, where clay holds what it can: 0 is full, more is drier.

A strip has two stores: its top, which rain and hose wet first and air dries first, and the ground
below that, to a metre, of which level, target, check and sensor speak. Beside it lies the yard,
which has two stores of its own, and from which a strip is drunk or drinks. Nothing here may assume
that a figure is sensible: each is held within its bounds.
"""

from . import const
from .civil import date_of, day_of

_TYPE_CHECKING = const(0)
if _TYPE_CHECKING:
    from collections.abc import Sequence

_MOST_UM = const(600000)  # that any store may lack: a metre of clay between pF 2 and 5
_PPM = const(1000000)
_FACTOR_LEAST_PPT = const(500)  # what was learnt of a zone's demand, beside the plan's
_FACTOR_MOST_PPT = const(1800)


def root(value: int) -> int:
    """Return the whole part of a square root; 0 for what is negative."""
    if value <= 0:
        return 0
    found = value
    better = (value + 1) // 2
    while better < found:
        found = better
        better = (found + value // found) // 2
    return found


def demand_um(least_mc: int, most_mc: int, sun_um: int) -> int:
    """Return the reference evapotranspiration of a day by its temperatures.

    least_mc, most_mc: the day's extremes; a reversed pair counts as no range. sun_um: radiation
    from beyond the air, as the depth of water that it could evaporate.
    Source: Hargreaves & Samani 1985, as FAO-56, eq. 52.
    """
    range_root = root((most_mc - least_mc) * 1000)  # of the range in degrees, thousandths
    warm_mc = least_mc + most_mc + 35600  # twice the mean above -17.8
    if warm_mc <= 0:
        return 0
    return 23 * sun_um * warm_mc * range_root // 20000000000


def sun_of(day: int, sun_um: "Sequence[int]") -> int:
    """Return a day's radiation by the plan's table of the middles of 24 equal parts of a year."""
    of_year = day - day_of(date_of(day)[0], 1, 1)
    part, since = divmod(48 * of_year - 365, 730)
    before_um = sun_um[part % 24]
    return before_um + (sun_um[(part + 1) % 24] - before_um) * since // 730


def day(
    top_um: int,
    lack_um: int,
    wet_um: int,
    demand: int,
    beside_um: int,
    ground: "tuple[int, int, int, int, int]",
) -> "tuple[int, int]":
    """Carry a strip, or a yard, on by a day. Returns what its top and the ground below lack.

    Args:
        top_um: what the top lacks
        lack_um: what the ground below it lacks
        wet_um: rain that arrived and water that was given
        demand: what its cover would take of wet ground
        beside_um: what it would lack if it were as dry as the ground beside it
        ground: what the top can lack at most; the part of the demand that it bears, in thousandths;
            what the ground may lack before it gives less, and when it gives nothing any more; what
            of the difference to the ground beside it passes in a day, in millionths
    """
    top_most_um, top_ppt, freely_um, end_um, beside_ppm = ground
    top_um -= wet_um
    over_um = 0
    if top_um < 0:
        over_um = -top_um
        top_um = 0
    top_share_um = demand * top_ppt // 1000
    if top_most_um > 0:
        top_um += top_share_um * (top_most_um - min(top_um, top_most_um)) // top_most_um
    loss_um = demand - top_share_um
    if lack_um >= end_um:
        loss_um = 0
    elif lack_um > freely_um:
        loss_um = loss_um * (end_um - lack_um) // (end_um - freely_um)
    lack_um += loss_um - over_um + (beside_um - lack_um) * beside_ppm // _PPM
    return min(top_um, top_most_um), held_um(lack_um)


def held_um(lack_um: int) -> int:
    """Return what the ground below the top can lack that is nearest to this."""
    return min(max(lack_um, 0), _MOST_UM)


def middle_um(borders_um: "tuple[int, ...]", found: int) -> int:
    """Return what the ground lacks in the middle of a class; an end's is as wide as its neighbour.

    borders_um: of the classes, the driest first. found: the class, 0 is the driest.
    """
    driest_um = 2 * borders_um[0] - borders_um[1]
    wettest_um = max(2 * borders_um[-1] - borders_um[-2], 0)
    ends_um = (driest_um,) + borders_um + (wettest_um,)
    return (ends_um[found] + ends_um[found + 1]) // 2


def learnt_ppt(factor_ppt: int, apart_mpf: int, whole_mpf: int, learn_ppt: int) -> int:
    """Return a zone's factor on demand after it was found other than it was thought to be.

    apart_mpf: drier is more. whole_mpf: what counts whole; more counts no more. learn_ppt: how
    much the factor then changes, in thousandths of itself.
    """
    part_mpf = min(max(apart_mpf, -whole_mpf), whole_mpf)
    whole = 1000 * max(whole_mpf, 1)
    factor_ppt += (2 * factor_ppt * learn_ppt * part_mpf + whole) // (2 * whole)
    return min(max(factor_ppt, _FACTOR_LEAST_PPT), _FACTOR_MOST_PPT)
