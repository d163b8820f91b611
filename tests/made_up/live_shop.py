"""A watched run on a clock that the test moves."""

from analysis.watch.run import Watch
from tests.made_up.live_run import photo
from vision.cameras.camera import PhoneCamera
from vision.cameras.clock import SteadyClock

START_S = 1_933_000_000.0
FULL_S = 750.0


class Shop:
    """A watched run on a clock that the test moves; time 0 is resin start."""

    def __init__(self, folder, interval_s=30.0, store=None, **more):
        self.t, self.wall_step = -90.0, 0.0
        clock = SteadyClock(lambda: START_S + self.t + self.wall_step, lambda: self.t)
        self.watch = Watch(folder, PhoneCamera(), interval_s, clock=clock, store=store, **more)

    def __enter__(self):
        self.watch.__enter__()
        return self

    def __exit__(self, *_):
        self.watch.close()

    def take(self, t, age_s=0.0, look=True, **more):
        self.t = t + age_s
        stored = self.watch.receive(photo(t, **more), age_s)
        if look:
            self.watch.follow_once(0.0)
        return stored

    def told(self):
        return [alarm.key for alarm in self.watch.board.alarms]
