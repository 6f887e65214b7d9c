"""The desktop face: the evenclay command and the developer tools."""

import gc

from evenclay.tools.dev import compiled

# New objects after which Python looks for garbage that refers to itself. At its usual 700 that took
# a tenth of a replay's time. It is set here, since each worker of a long task imports this package.
gc.set_threshold(20_000)
compiled.use()  # before anything imports the core
