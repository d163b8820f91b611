"""Follow the camera and lay each frame flat."""
