"""The light of each frame, and a first look at the wetting on coarse cells."""
