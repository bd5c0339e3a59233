"""The desk as a whole: settings, addresses, access, and what runs it."""

import os

# Numbers are reckoned a few hundred small matrices at a time: threads of their own for each of them cost
# twice the processor and gain nothing. To be said before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
