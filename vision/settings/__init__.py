"""What the panel folder says to the camera: [panel], [frames], [scale], stamps.csv."""
