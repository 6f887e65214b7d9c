"""Reading an ADC pin: several samples, their mean."""

from evenclay.controller import TYPE_CHECKING, const

if TYPE_CHECKING:
    from machine import ADC

SAMPLES = const(8)
FULL = const(65535)  # `read_u16` of the reference voltage

# Within this of an end the input is at a rail, or past what the converter resolves: an ESP32 reads
# 0 up to about 100 mV and bends at the top. From memory.
RAIL = const(1000)


def counts(adc: "ADC") -> int:
    """Mean of several samples, 0..65535."""
    total = 0
    for _ in range(SAMPLES):
        total += adc.read_u16()
    return total // SAMPLES


def at_rail(value: int) -> bool:
    """Whether counts are so near an end that they mean nothing but open or short."""
    return value < RAIL or value > FULL - RAIL


def millivolts(adc: "ADC", full_mv: int) -> int:
    """Voltage at the pin, mV: by the chip's own calibration where it has one."""
    if hasattr(adc, "read_uv"):
        total_uv = 0
        for _ in range(SAMPLES):
            total_uv += adc.read_uv()
        return total_uv // (SAMPLES * 1000)
    return counts(adc) * full_mv // FULL


def interpolate(table: "tuple[tuple[int, int], ...]", at: int) -> int:
    """Value of a piecewise-linear table at `at`; beyond its ends, the end's value.

    table: (at, value) pairs, `at` ascending; at least one
    """
    before_at, before = table[0]
    if at <= before_at:
        return before
    for next_at, following in table:
        if at <= next_at:
            return before + (following - before) * (at - before_at) // (next_at - before_at)
        before_at, before = next_at, following
    return before
