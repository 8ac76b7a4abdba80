"""One numpy thread a worker: circuits are small, and threads only wait for each other."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
