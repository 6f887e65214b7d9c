"""The core on real hardware, one folder a board."""
