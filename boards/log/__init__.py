"""A log that lasts: what a hub was told, so that a desktop can run its core on it again.

`recorder` hears it, `packed` makes bytes of it, and `ring` keeps those in files. A board without a
log has none of these modules.
"""
