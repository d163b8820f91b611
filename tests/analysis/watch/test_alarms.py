"""What is wrong at the panel, in words."""

from dataclasses import replace

from analysis.watch.alarms import Situation, alarms_for


def test_alarms_say_what_and_what_to_do():
    calm = Situation(running=True, elapsed_s=100.0, reached_mm=150.0, gel_s=900.0, working_s=600.0)
    assert alarms_for(calm) == []
    cases = {
        "lost": {"lost": True},
        "frozen": {"frozen": True},
        "moved": {"camera_note": "camera moved by about 3.0 mm"},
        "glare": {"hidden": 0.8},
        "vacuum": {"vacuum_lost": 0.3},
        "stall": {"stalled_at_mm": 120.0},
        "race": {"racing_mm": 60.0},
        "gel": {"end_s": 1000.0},
        "tight": {"end_s": 500.0, "end_high_s": 700.0},
        "silent": {"silence_s": 60.0},
        "disk": {"store_fault": "no room"},
        "space": {"space": "100 MB left"},
        "beside": {"beside": "40 mm behind"},
        "filled": {"filled": True},
        "overdue": {"overdue": True},
        "slowing": {"slowing": True},
        "doubt": {"doubts": "sun moved over the panel"},
    }
    for key, values in cases.items():
        (alarm,) = alarms_for(replace(calm, **values))
        assert alarm.key == key
        assert len(alarm.text) > 8
        assert len(alarm.todo) > 5
    assert alarms_for(replace(calm, ended=True, lost=True)) == []
    for over in ({"clamped": True}, {"filled": True}):  # late no more: it was stopped, or is there
        now = replace(calm, beside="40 mm behind", **over)
        assert "beside" not in [alarm.key for alarm in alarms_for(now)]


def test_an_end_that_may_come_after_gel_says_so_first():
    now = Situation(running=True, elapsed_s=100.0, gel_s=900.0, working_s=630.0, end_s=600.0)
    (late,) = alarms_for(replace(now, end_high_s=661.0))
    assert late.text == "The end may come too late (95 %: by 12 min): working time ends at 10 min"
    (gel,) = alarms_for(replace(now, end_high_s=901.0))
    assert gel.text == "Gel may come before the end (95 %: end by 16 min): gel at 15 min"
    (never,) = alarms_for(replace(now, end_high_s=float("inf")))
    assert "end perhaps never" in never.text
    assert alarms_for(replace(now, end_high_s=629.0)) == []


def test_gel_passed_is_the_first_alarm():
    now = Situation(running=True, elapsed_s=950.0, gel_s=900.0, racing_mm=60.0, reached_mm=100.0)
    assert [a.key for a in alarms_for(now)] == ["gel", "race"]


def test_an_overdue_end_claims_nothing_of_a_front_that_no_picture_shows():
    now = Situation(running=True, elapsed_s=100.0, overdue=True, gap_s=30.0)
    (seen,) = alarms_for(replace(now, silence_s=1.0))
    unseen = {alarm.key: alarm.text for alarm in alarms_for(replace(now, silence_s=120.0))}
    assert seen.text == "The front is not at the end when it should be"
    assert set(unseen) == {"silent", "overdue"}
    assert "no picture shows it" in unseen["overdue"]


def test_a_front_is_not_said_to_stall_while_nobody_sees_it():
    now = Situation(running=True, elapsed_s=100.0, stalled_at_mm=120.0)
    assert [a.key for a in alarms_for(now)] == ["stall"]
    assert [a.key for a in alarms_for(replace(now, lost=True))] == ["lost"]
