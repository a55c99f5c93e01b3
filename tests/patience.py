"""How long a test waits for what must come: so long that only what hangs reaches it.

A deadline here never decides whether something is quick enough (`make bench` measures that); it
ends a test that would otherwise wait for good. A machine with eight busy programs beside the tests
is ten times slower than an idle one, and a deadline that it misses is a test that fails by chance.
"""

PATIENCE_SECONDS = 300.0
PATIENCE_MS = PATIENCE_SECONDS * 1000
