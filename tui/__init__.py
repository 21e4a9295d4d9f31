"""Commands, screens, widgets: all that a terminal shows."""

import os

# The toolkit paints at the beat of a clock and reads this when it is loaded. At its own 60 a key
# that follows a paint waits up to 33 ms for the next beat but one; so, 8 ms.
os.environ.setdefault("TEXTUAL_FPS", "240")
