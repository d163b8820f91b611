"""A made-up part watched while it fills: the board against the truth it was drawn from."""

import json
import re

import pytest
from click.testing import CliRunner

from analysis.commands.live import watch
from analysis.infusion.ahead.next_feed import AT_WORK
from analysis.page.part_view import view_of
from analysis.watch.alarms import ACT
from analysis.watch.board import ENDED, NOT_YET, RUNNING
from analysis.watch.part import learner as learner_module
from analysis.watch.part.board import part_board_lines
from tests.made_up.live_part import PartShop, again, copy_of, empty_part, made_run, with_more
from vision.errors import WetlineError
from vision.settings.event_log import (
    EVENT,
    FEED_BACK,
    FEED_OPEN,
    RESIN_OPEN,
    VENT_SHUT,
    read_stamps,
)

CUT_OFF_S_SHARE = 0.25
"""x = sqrt(k t) (Darcy, constant pressure): the vent is half way, at a quarter of the time."""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A run up to two thirds; boards by time, the photos, and where its pictures are."""
    made, filled, photos = made_run()
    folder = empty_part(made, tmp_path_factory.mktemp("part") / "watched")
    boards = []
    with PartShop(folder) as shop:
        opened = False
        for t, photo, share in photos:
            if t > 0 and not opened:
                shop.t, opened = 0.0, True
                shop.watch.stamp(RESIN_OPEN)
            if t > 0.67 * filled.fill_s:
                break
            shop.take(t, photo, learn=t > 0.58 * filled.fill_s)
            boards.append((t, share, shop.watch.board, shop.watch.elapsed_s()))
    return filled, photos, folder, boards


def test_the_board_shows_the_wet_share(run):
    _, _, folder, boards = run
    told = [(share, b.part) for t, share, b, _ in boards if t > 0 and b.part.left is not None]
    assert len(told) >= 12
    for share, numbers in told[2:]:
        assert numbers.wetted_share == pytest.approx(share, abs=0.02)
    last = boards[-1][2]
    assert last.state == RUNNING
    assert last.frames == len(boards) == len(list((folder / "frames").iterdir()))


def test_the_forecast_is_of_the_corrected_plan_and_meets_the_end(run):
    filled, _, _, boards = run
    last = boards[-1][2].part
    assert last.learnt
    assert last.left.end_s == pytest.approx(filled.fill_s, rel=0.05)
    assert last.left.low_s <= filled.fill_s <= last.left.high_s


def test_an_area_that_will_be_cut_off_is_told_before_it_is(run):
    filled, _, _, boards = run
    closes_s = CUT_OFF_S_SHARE * filled.fill_s
    ahead = [
        (t, alarm)
        for t, _, board, _ in boards
        for alarm in board.alarms
        if alarm.key.startswith("cut off") and t < closes_s - 120.0
    ]
    assert ahead, "no cut-off told two minutes before"
    assert "will be cut off from every vent in" in ahead[-1][1].text
    after = [alarm for alarm in boards[-1][2].alarms if alarm.key.startswith("closed")]
    assert after
    assert after[0].level == ACT


def test_the_board_in_the_terminal(run):
    _, _, _, boards = run
    _, _, board, elapsed = boards[-1]
    text = "\n".join(part_board_lines(board, elapsed))
    assert "!! ACT NOW: An area is cut off from every vent" in text
    assert "% of the part" in text
    assert "since resin start (stamped)" in text
    dry = "\n".join(part_board_lines(boards[0][2], None))
    assert "pictures needed to begin" in dry
    assert boards[0][2].state == NOT_YET


def test_the_same_command_goes_on_with_the_run_and_ends_it(run, tmp_path):
    _, _, watched, boards = run
    folder = copy_of(watched, tmp_path / "again")
    with PartShop(folder, t=boards[-1][0] + 1.0) as shop:
        board = shop.watch.board
        assert board.state == RUNNING
        assert board.frames == len(boards)
        assert board.part.wetted_share == pytest.approx(boards[-1][1], abs=0.02)
        assert shop.watch.open_feed() == "no later feed is left to open in part.toml"
        shop.watch.end()
        shop.watch.follow_once(0.0)
        assert shop.watch.board.state == ENDED
        told = "\n".join(part_board_lines(shop.watch.board, None))
        assert "wetline run" in told
        assert "No final result" not in told
        assert (folder / "results" / "part_run.json").is_file()
        assert not shop.watch.board.alarms
    with PartShop(copy_of(watched, tmp_path / "next"), boards[-1][0] + 1.0, like=[folder]) as shop:
        beside = shop.watch.board.beside
        assert beside.inside  # it is the same run, and as far as it went
        assert "may still be one like them" in beside.text
        view = json.loads(json.dumps(view_of(shop.watch, shop.watch.board)))
    assert view["beside"]["text"] == beside.text
    assert view["good_left_out"] == []
    assert view["beside"]["odd"] == []


def test_a_fault_while_learning_is_a_line_and_pictures_go_on(run, tmp_path, monkeypatch):
    def fault(*_, **__):
        raise ZeroDivisionError("made up")

    monkeypatch.setattr(learner_module, "fit_plan", fault)
    _, photos, watched, boards = run
    folder = copy_of(watched, tmp_path / "again")
    t, photo, share = photos[len(boards)]
    with PartShop(folder, t=boards[-1][0] + 1.0) as shop:
        shop.take(t, photo)
        shop.watch.follow_once(0.0)
        board = shop.watch.board
        assert "made up" in board.learning
        assert not board.part.learnt
        assert board.part.wetted_share == pytest.approx(share, abs=0.02)
        assert board.frames == len(boards) + 1


def test_feeds_and_vents_are_noted_taken_back_and_kept_over_a_restart(run, tmp_path):
    folder = with_more(copy_of(run[2], tmp_path / "again"))
    with PartShop(folder, t=run[3][-1][0] + 1.0) as shop:
        watch = shop.watch
        assert [feed.name for feed in watch.board.part.feeds] == ["second line"]
        assert watch.open_feed() == "noted: second line is open"
        watch.follow_once(0.0)
        assert watch.board.opened == ("second line",)
        assert not watch.board.part.feeds
        assert watch.open_feed() == "no later feed is left to open in part.toml"
        assert watch.take_back() == "noted: second line is not open, taken back"
        assert watch.take_back().startswith("nothing is left to take back")
        watch.follow_once(0.0)
        assert [feed.name for feed in watch.board.part.feeds] == ["second line"]
        assert (
            watch.clamp_vent("")
            == "v needs a vent, such as v 1: part.toml has 1 far edge, 2 middle"
        )
        assert watch.clamp_vent("1") == "noted: far edge is clamped"
        with pytest.raises(WetlineError, match="vent 7: is no vent"):
            watch.by_hand(VENT_SHUT, "vent 7")
        with pytest.raises(WetlineError, match="left: is no later feed"):
            watch.open_feed("left")
    with PartShop(folder, t=run[3][-1][0] + 2.0) as shop:
        assert shop.watch.board.shut == ("far edge",)
        text = "\n".join(part_board_lines(shop.watch.board, 1.0))
        assert "Clamped:    far edge" in text
    kinds = [(s.kind, s.text) for s in read_stamps(folder) if s.text in ("second line", "far edge")]
    assert kinds == [
        (FEED_OPEN, "second line"), (FEED_BACK, "second line"), (VENT_SHUT, "far edge")
    ]  # fmt: skip


def test_a_clamped_vent_shuts_air_in(run, tmp_path):
    folder = with_more(copy_of(run[2], tmp_path / "again"))
    with PartShop(folder, t=run[3][-1][0] + 1.0) as shop:
        watch = shop.watch
        assert not [cut for cut in watch.board.part.cut_offs if cut.closed]
        watch.clamp_vent("far edge")
        watch.follow_once(0.0)
        cuts = watch.board.part.cut_offs
        assert [cut.closed for cut in cuts if cut.likely] == [True]
        # What lies under a hose is not seen: it may be dry, and is told as no more than that.
        assert all(cut.hidden and not cut.closed for cut in cuts if not cut.likely)


def test_alarms_are_in_the_run_s_log_once(run):
    texts = [stamp.text for stamp in read_stamps(run[2]) if stamp.kind == EVENT]
    told = [text for text in texts if text.startswith("alarm: ACT NOW: An area")]
    assert any("will be cut off" in text for text in told)
    # The area shrinks and where its air ends moves; it stays the one that was told of.
    assert sum("is cut off from every vent" in text for text in told) == 1
    assert len(told) <= 3


def test_a_front_that_stands_still_is_told(run, tmp_path):
    _, photos, watched, boards = run
    folder = copy_of(watched, tmp_path / "again")
    begun = boards[-1][0]
    with PartShop(folder, t=begun + 1.0) as shop:
        assert "stall" not in shop.told()
        last = photos[len(boards) - 1][1]
        for k in range(8):
            shop.take(begun + 150.0 * (k + 1), again(last, k))
        stalled = [a for a in shop.watch.board.alarms if a.key == "stall"]
    assert [a.level for a in stalled] == [ACT]
    share = float(re.search(r"stands still at (\d+) % wet", stalled[0].text).group(1)) / 100
    assert share == pytest.approx(boards[-1][1], abs=0.02)


def test_a_gauge_that_rises_is_an_alarm(run, tmp_path):
    folder = copy_of(run[2], tmp_path / "again")
    with PartShop(folder, t=run[3][-1][0] + 1.0) as shop:
        shop.watch.gauge(10.0)
        assert "vacuum" not in shop.told()
        shop.t += 60.0
        shop.watch.gauge(300.0)
        assert "vacuum" in shop.told()
        assert shop.watch.board.gauge[1] == 300.0
        assert "Gauge:      300.0 mbar in the bag" in part_board_lines(shop.watch.board, 1.0)


def test_the_end_says_how_far_the_board_was_off(run, tmp_path):
    _, photos, watched, boards = run
    folder = copy_of(watched, tmp_path / "again")
    with PartShop(folder, t=boards[-1][0] + 1.0) as shop:
        for t, photo, _ in photos[len(boards) : len(boards) + 2]:
            shop.take(t, photo)
        shop.watch.end()
        shop.watch.follow_once(0.0)
        line = next(r.text for r in shop.watch.board.final if r.text.startswith("Live board"))
    assert float(re.search(r"wet share ([0-9.]+) % of the part apart", line).group(1)) < 2.0


def test_the_terminal_has_json_at_the_end(run, tmp_path):
    folder = copy_of(run[2], tmp_path / "again")
    more = tmp_path / "more"
    more.mkdir()
    with PartShop(folder, t=run[3][-1][0] + 1.0) as shop:
        view = json.loads(json.dumps(view_of(shop.watch, shop.watch.board)))
    assert view["kind"] == "part"
    assert view["wet_share"] == pytest.approx(run[3][-1][1], abs=0.02)
    assert view["end_low_s"] <= view["end_s"] <= view["end_high_s"]
    assert view["vents"] == [{"name": "middle", "shut": False}]


def test_a_good_run_that_was_not_run_is_refused_in_a_line(run):
    done = CliRunner().invoke(watch, [str(run[2]), "--like", str(run[2])])
    assert done.exit_code == 1
    assert "no run of this part: run `wetline run" in str(done.exception)


def test_a_part_without_frames_is_refused_with_the_mend(tmp_path):
    (tmp_path / "part.toml").write_text('name = "cover"\n', encoding="utf-8")
    done = CliRunner().invoke(watch, [str(tmp_path)])
    assert done.exit_code == 1
    assert "[frames]: is missing" in str(done.exception)
    assert not (tmp_path / "frames").exists()


def test_live_pictures_go_to_frames_or_nowhere(run, tmp_path):
    folder = copy_of(run[2], tmp_path / "again")
    (folder / "frames").rename(folder / "photos")
    text = (folder / "part.toml").read_text(encoding="utf-8").replace('"frames"', '"photos"')
    (folder / "part.toml").write_text(text, encoding="utf-8")
    done = CliRunner().invoke(watch, [str(folder), "--camera", str(tmp_path)])
    assert done.exit_code == 1
    assert 'write source = "frames"' in str(done.exception)


def test_a_feed_with_resin_before_any_front_is_asked_about_and_not_told_to_be_opened(tmp_path):
    made, _, photos = made_run()
    folder = empty_part(made, tmp_path / "cover")
    text = (folder / "part.toml").read_text(encoding="utf-8")
    first = '[[feed]]\nname = "right line"\nline_mm = [[470, 20], [470, 300]]\n\n'
    later = 'line_mm = [[0.0, 0.0], [0.0, 320.0]]\nopens_when = "wet"'
    text = text.replace("[[feed]]", f"{first}[[feed]]", 1)
    text = text.replace("line_mm = [[0.0, 0.0], [0.0, 320.0]]", later, 1)
    (folder / "part.toml").write_text(text, encoding="utf-8")
    looks = []
    with PartShop(folder) as shop:
        for t, photo, _ in photos[:14]:
            if t > 0 and not shop.watch.board.start_stamped:
                shop.t = 0.0
                shop.watch.stamp(RESIN_OPEN)
            shop.take(t, photo)
            board = shop.watch.board
            looks.append((board.part.doubts, board.part.feeds, shop.told()))
    doubted = [look for look in looks if any("resin at feed 'left line'" in d for d in look[0])]
    assert len(doubted) > 3
    for _, (feed,), told in doubted:
        assert (feed.name, feed.state) == ("left line", AT_WORK)
        assert "at work left line" in told
        assert "feed left line" not in told
