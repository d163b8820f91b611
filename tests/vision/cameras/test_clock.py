"""Time of the pictures: it follows the wall clock, and never runs back."""

from tests.made_up.live_camera import START_S, Hands


def test_clock_follows_the_wall():
    hands = Hands()
    clock = hands.clock()
    hands.pass_s(12.5)
    assert clock.now() == START_S + 12.5
    assert clock.take_notes() == []


def test_clock_set_back_does_not_take_time_back():
    hands = Hands()
    clock = hands.clock()
    hands.pass_s(10)
    hands.wall -= 3600
    assert clock.now() == START_S + 10
    hands.pass_s(5)
    assert clock.now() == START_S + 15
    (note,) = clock.take_notes()
    assert "set back by 3600 s" in note


def test_clock_believes_a_closed_lid():
    hands = Hands()
    clock = hands.clock()
    hands.wall += 600  # the steady clock stood still
    assert clock.now() == START_S + 600
    assert "600 s" in clock.take_notes()[0]


def test_clock_goes_on_after_the_last_picture_of_a_run():
    clock = Hands().clock()
    clock.not_before(START_S + 500)
    assert clock.now() == START_S + 501
    assert "behind the last picture" in clock.take_notes()[0]
