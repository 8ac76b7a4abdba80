"""The command line."""

import atexit
import gc
import os

# Before numpy is there: matrices here have a few dozen rows, and threads that share one cost more than
# they save.
for _threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

# Nothing that is installed beside it plugs into the checks of a description: to look for it takes
# longer than to read one.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

# What is loaded at the start stays: looking through it for garbage every 700 objects, and all of it once
# more at the end, would take a sixth of the time that `locate` takes.
gc.set_threshold(1_000_000)
atexit.register(gc.freeze)
