"""The arrival map that a run on a part leaves, made up."""

import numpy as np


def save_map(path, shift=0.0):
    """Write a map of 3 by 4 pixels on which resin comes a second later at each."""
    time_s = np.arange(12.0).reshape(3, 4) + shift
    np.savez(
        path,
        time_s=time_s,
        sd_s=np.ones_like(time_s),
        seen=np.ones(time_s.shape, bool),
        inside=np.ones(time_s.shape, bool),
        x_mm=75.0 + 150.0 * np.arange(4),
        y_mm=50.0 + 100.0 * np.arange(3),
        last_s=float(time_s.max()) + 1.0,
        start_sd_s=1.0,
    )
