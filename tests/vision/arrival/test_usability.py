import numpy as np

from vision.arrival.usability import dry_at_feed
from vision.settings.repair_settings import UsabilitySettings

USABILITY = UsabilitySettings()


def test_resin_that_did_not_come_from_the_feed_edge_is_noticed():
    wetted = np.zeros((40, 200), bool)
    wetted[:, 60:150] = True
    assert dry_at_feed(wetted, USABILITY) == 1.0
    wetted[:, :60] = True
    assert dry_at_feed(wetted, USABILITY) == 0.0
    wetted[:10, :60] = False
    assert dry_at_feed(wetted, USABILITY) == 0.25
    assert dry_at_feed(np.zeros((40, 200), bool), USABILITY) == 0.0
