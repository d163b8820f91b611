"""Charts drawn by OpenCV: what is on them as records, their ticks, and the drawing."""
