"""Our own exceptions. `str(error)` is one sentence: what is wrong, where, and what to do."""


class LoadglassError(Exception):
    """Something a person can act on; shown as it is, never with a traceback."""


class NotAnImage(LoadglassError):
    """The bytes cannot be placed as the sectors of any layout."""


class OffDisk(LoadglassError):
    """A track or sector that the layout does not have."""


class DoesNotFit(LoadglassError):
    """Files or an entry for which the disk has no room."""


class NotReadable(LoadglassError):
    """A file on the image whose bytes cannot be read whole."""
