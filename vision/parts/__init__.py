"""A part of any outline under the camera, from frames to its arrival map."""
