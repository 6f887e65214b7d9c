"""Copy this folder for hardware of your own."""
