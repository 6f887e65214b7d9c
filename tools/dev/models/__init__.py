"""Simple or fine models of soil water, beside which tests and validation hold the simulator's."""
