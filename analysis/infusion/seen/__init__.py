"""What the camera saw of a part, on the plan's own grid."""
