"""Evenclay keeps the clay around a house evenly moist: the core, its boards, a simulator, the desk.

In the repository each subpackage is a folder of its own at the top; DEVELOPERS.md says which.
"""
