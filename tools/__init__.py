"""The desktop face: the evenclay command and the developer tools."""

from tools import compiled

compiled.use()  # before anything imports the core
