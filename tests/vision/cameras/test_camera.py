"""The phone as a camera: a picture counts once it is on disk."""

from tests.made_up.live_camera import START_S, Hands, jpeg
from vision.cameras.camera import PhoneCamera, Shot
from vision.cameras.frame_store import FrameStore
from vision.cameras.recorder import Recorder
from vision.errors import WetlineError


def test_phone_picture_counts_only_once_it_is_on_disk(tmp_path):
    camera, hands, frames = PhoneCamera(), Hands(), []
    room = [False]

    def write(path, data):
        if not room[0]:
            raise WetlineError("no room")
        path.write_bytes(data)

    recorder = Recorder(
        camera, FrameStore(tmp_path, write=write), 5, hands.clock(), frames.append, print
    )
    assert not camera.receive(Shot(jpeg(), START_S))
    room[0] = True
    assert camera.receive(Shot(jpeg(30), START_S + 5))
    assert len(frames) == 2
    assert recorder.once(0.0) == 0
