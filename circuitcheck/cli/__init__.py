"""The command line."""

import os

# Before numpy is there: matrices here have a few dozen rows, and threads that share one cost more than
# they save.
for _threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")
