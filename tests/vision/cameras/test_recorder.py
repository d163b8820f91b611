"""From camera to disk: a gap in the pictures is noted."""

from tests.made_up.live_camera import START_S, Hands, jpeg
from vision.cameras.camera import PhoneCamera, Shot
from vision.cameras.frame_store import FrameStore
from vision.cameras.recorder import Recorder


def test_gap_is_noted(tmp_path):
    camera, hands, events = PhoneCamera(), Hands(), []
    Recorder(camera, FrameStore(tmp_path), 5.0, hands.clock(), lambda f: None, events.append)
    for at in (0, 5, 10, 130, 135):
        camera.receive(Shot(jpeg(at), START_S + at))
    assert events == ["no picture for 120 s"]


# -- uploads: checked by decoding


# -- stamps
