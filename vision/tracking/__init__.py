"""One panel from frames to files, recorded or live."""
