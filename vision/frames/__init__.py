"""Photos, film, EXIF: frames in true time order, one at a time."""
