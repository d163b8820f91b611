"""What is said of pictures that were left out."""

from vision.frames.reader import left_out


def test_pictures_left_out_are_counted_by_reason():
    notes = [
        "length 0.7 m understood as 700 mm",
        "a.jpg: skipped, no capture time though others have one",
        "b.jpg: skipped, 640 x 360 pixels where most have 1280 x 720",
        "c.jpg: skipped, 640 x 360 pixels where most have 1280 x 720",
    ]
    assert left_out(notes) == (
        "1 photo left out (a.jpg): no capture time though others have one",
        "2 photos left out (b.jpg and c.jpg): 640 x 360 pixels where most have 1280 x 720",
    )
    assert left_out([]) == ()
