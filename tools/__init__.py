"""The desktop face: the evenclay command and the developer tools."""

from evenclay.tools.dev import compiled

compiled.use()  # before anything imports the core
