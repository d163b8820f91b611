"""Set before anything opens a film: OpenCV reads it once, at the first one."""

import os

os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
