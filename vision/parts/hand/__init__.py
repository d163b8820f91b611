"""What a person knows of a part's front, over what the camera saw."""
