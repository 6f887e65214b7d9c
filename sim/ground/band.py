"""The band: how moist the clay under a strip is to be kept."""

BAND_PF = (2.5, 3.3)  # the daily mean of 0.3-1.0 m; wetter below, drier above
