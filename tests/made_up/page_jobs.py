"""Stand-ins for the process of a run begun on the page; light, for each is loaded anew there."""

import threading


def wait_for_ever(pipe, folder):
    """Stand for a run that is long: it says how far it is and never ends."""
    pipe.send(0.25)
    threading.Event().wait()


def end_without_a_word(pipe, folder):
    """Stand for a run whose process goes."""
