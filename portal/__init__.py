"""Wiring: settings, addresses, middleware, embedded services."""

import os

# One thread for small matrices: with several, processes that share a machine wait for
# each other (a chain of 120 heights: 2 ms alone, 40 to 490 ms with two threads under
# load). Read by the library when it is first loaded, hence this early.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
