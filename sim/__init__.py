"""The core on a simulated house: weather, soil, hoses, faults, replay, scoring, the report."""
