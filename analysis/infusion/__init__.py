"""The part itself under the camera: what was seen of it, beside the plan, and what follows."""
