"""A camera read by OpenCV: plugged out and in, kept to its beat, over the network."""

import threading
import time

import cv2
import numpy as np

from tests.made_up.live_camera import Hands, jpeg
from vision.cameras.clock import SteadyClock
from vision.cameras.frame_store import FrameStore
from vision.cameras.open_camera import open_camera
from vision.cameras.recorder import Recorder
from vision.cameras.webcam import CaptureCamera

PATIENCE_S = 120.0


class Capture:
    """Stands for cv2.VideoCapture: gives `pictures` and then fails."""

    def __init__(self, pictures, on_grab=lambda: None):
        self.left, self.on_grab = pictures, on_grab

    def grab(self):
        time.sleep(0.002)
        self.on_grab()
        self.left -= 1
        return self.left >= 0

    def retrieve(self):
        return True, np.full((120, 160, 3), 80, np.uint8)

    def release(self):
        pass


def test_unplugged_camera_is_tried_again(tmp_path, monkeypatch):
    monkeypatch.setattr("vision.cameras.webcam.RETRY_S", (0.02,))
    hands, plugged_in = Hands(), threading.Event()
    opened = []

    def open_capture(source):
        capture = Capture(0 if opened else 3)
        if plugged_in.is_set():
            capture = Capture(10**6, lambda: hands.pass_s(1.0))
        opened.append(capture)
        return capture

    events, frames = [], []
    with CaptureCamera(0, "webcam 0", 5.0, hands.clock(), open_capture) as camera:
        recorder = Recorder(
            camera, FrameStore(tmp_path), 5.0, camera._clock, frames.append, events.append
        )
        until = time.monotonic() + PATIENCE_S
        while len(frames) < 1 and time.monotonic() < until:
            recorder.once(0.1)
        while (len(opened) < 3 or "trying again" not in camera.fault) and time.monotonic() < until:
            time.sleep(0.001)
        assert "trying again" in camera.fault
        hands.pass_s(60)  # it lay unplugged for a minute
        plugged_in.set()
        while len(frames) < 3 and time.monotonic() < until:
            recorder.once(0.1)
    assert len(opened) >= 4
    assert len(frames) >= 3
    assert any("no picture for" in event for event in events)
    assert camera.fault == ""


def test_camera_keeps_its_beat():
    hands = Hands()
    with CaptureCamera(
        0, "webcam", 10.0, hands.clock(), lambda _: Capture(10**6, lambda: hands.pass_s(0.5))
    ) as camera:
        shots, until = [], time.monotonic() + PATIENCE_S
        while len(shots) < 4 and time.monotonic() < until:
            shot = camera.next(0.2)
            shots += [] if shot is None else [shot]
    steps = np.diff([shot.clock_s for shot in shots])
    # A shot may be dropped unread while this machine is busy, never come early.
    assert len(shots) == 4
    assert (steps >= 9.0).all()


def test_network_camera_gives_pictures(tmp_path):
    """A real HTTP MJPEG stream from a server in this process, through OpenCV's own reader."""
    from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

    data = jpeg(120, (240, 320))

    class Stream(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "multipart/x-mixed-replace; boundary=frame")
            self.end_headers()
            try:
                for _ in range(400):
                    part = f"--frame\r\nContent-Type: image/jpeg\r\nContent-Length: {len(data)}"
                    self.wfile.write(part.encode() + b"\r\n\r\n" + data + b"\r\n")
                    time.sleep(0.01)
            except OSError:
                pass

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Stream)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    address = f"http://127.0.0.1:{server.server_port}/stream.mjpg"
    try:
        with open_camera(address, tmp_path, 0.1, SteadyClock()) as camera:
            shot = camera.next(PATIENCE_S)
        assert shot is not None
        image = cv2.imdecode(np.frombuffer(shot.data, np.uint8), cv2.IMREAD_COLOR)
        assert image.shape == (240, 320, 3)
        assert abs(float(image[200:].mean()) - 120) < 4
    finally:
        server.shutdown()
        server.server_close()
