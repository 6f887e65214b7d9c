"""RP2040 and RP2350 boards with 26 pins and an onboard regulator."""
