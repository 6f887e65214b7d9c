"""The house: strips, hoses, sensors, the simulated hardware, and the owner.

Read `house.py` first, what the simulator knows of a house; then `site.py`, its sky and its ground.
`hoses.py` and `sensors.py` say how real ones behave. `plumbing.py` lets water run where valves are
open, `faults.py` lists what may go wrong, and `devices.py` puts all of it behind the ports that
the hub meets. `owner.py` is the hand that checks the ground.
"""
