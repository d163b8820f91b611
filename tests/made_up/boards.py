"""Made-up boards of a run that goes on."""

import numpy as np

from analysis.watch.board import Board, Front, Gel, Numbers
from analysis.watch.end_forecast import EndForecast


def forecast_board(reached_s=None, gel_s=900.0, **changes):
    """A board whose front should be at the end at 10:00, from 9:30 to 11:00 of the clock."""
    places, late = np.linspace(200.0, 300.0, 5), np.linspace(300.0, 660.0, 5)
    end = EndForecast(300.0, 600.0, 570.0, 660.0, places, late - 90.0, late - 60.0, late)
    front = Front(200.0, 190.0, 210.0, 1.0, True, 5.0, 300.0, reached_s is not None)
    numbers = Numbers(front, np.array([60.0, 240.0]), np.array([100.0, 200.0]), end, reached_s)
    return Board("strip", numbers=numbers, gel=Gel(gel_s, 0.7 * gel_s), **changes)
