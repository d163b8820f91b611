"""A panel made on the page is one that `wetline new` could have made."""

import pytest

from analysis.page.stored.made_panel import make_panel
from analysis.page.stored.panels import Panels
from analysis.panel.panel_toml import read_panel
from tests.made_up.live_run import write_panel
from tests.made_up.page_browser import Browser
from vision.common.toml_table import read_toml
from vision.errors import WetlineError

ANSWERS = {
    "length": "420",
    "width": "24 cm",
    "porosity": "49 %",
    "viscosity": "0,21 Pa s",
    "gel-time": "100",
    "temperature": "22",
    "vacuum": "940",
    "flow-length": "650",
}
VALUES = {"name": "Hatch cover 7", "flow": "edge", "scale": "corners", "answers": ANSWERS}


def test_panel_reads_back_as_it_was_typed(tmp_path):
    made, questions = make_panel(Panels(tmp_path), VALUES)
    assert (made, questions) == ("Hatch_cover_7", [])
    panel = read_panel(tmp_path / made)
    assert panel.name == "Hatch cover 7"
    shown = read_toml(tmp_path / made / "panel.toml")
    assert shown["panel"]["width_mm"] == 240
    assert shown["resin"]["viscosity_mpas"] == 210
    assert shown["stack"]["porosity"] == 0.49
    assert (tmp_path / made / "frames").is_dir()


def test_what_is_left_open_stays_open(tmp_path):
    made, _ = make_panel(Panels(tmp_path), VALUES | {"answers": {"length": "", "width": None}})
    assert "length_mm" not in read_toml(tmp_path / made / "panel.toml")["panel"]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"name": "***"}, "letters or digits"),
        ({"name": "Taken"}, "there is a folder Taken already"),
        ({"flow": "up"}, "choose one of those shown"),
        ({"scale": "guess"}, "choose one of those shown"),
        ({"answers": {"length": "long"}}, "Length of the panel along the flow, mm: long"),
        ({"answers": {"length": "-3"}}, "length_mm"),
    ],
)
def test_what_cannot_be_makes_nothing(tmp_path, change, told):
    (tmp_path / "Taken").mkdir()
    with pytest.raises(WetlineError, match=told):
        make_panel(Panels(tmp_path), VALUES | change)
    assert [path.name for path in tmp_path.iterdir()] == ["Taken"]
    assert list((tmp_path / "Taken").iterdir()) == []


def test_page_of_one_panel_adds_none(tmp_path):
    write_panel(tmp_path)
    with pytest.raises(WetlineError, match="the folder above"):
        make_panel(Panels(tmp_path), VALUES)


@pytest.mark.parametrize("name", ["../up", "/etc/x", "a/../../b", "C:\\x", "..", "con\x00"])
def test_name_leads_nowhere_else(tmp_path, name):
    root = tmp_path / "root"
    root.mkdir()
    try:
        made, _ = make_panel(Panels(root), VALUES | {"name": name})
    except WetlineError:
        made = None
    assert [path.name for path in tmp_path.iterdir()] == ["root"]
    assert [path.name for path in root.iterdir()] == ([made] if made else [])


def test_empty_folder_is_served_and_takes_its_first_panel(tmp_path):
    pytest.importorskip("starlette", reason="the optional extra `page`")
    pytest.importorskip("uvicorn", reason="the optional extra `page`")
    from analysis.page.access.rights import ALL
    from analysis.page.server import PageServer
    from analysis.page.watches import Watches

    with PageServer(Watches(Panels(tmp_path)), share=True, port=0) as server:
        desk, phone = Browser(server), Browser(server)
        desk.pair(server.pairing.invite(ALL).code)
        assert desk.values("GET", "/api/panels")["panels"] == []
        assert len(desk.values("GET", "/api/new")["asks"]) == len(ANSWERS)
        assert desk.values("POST", "/api/new", VALUES)["id"] == "Hatch_cover_7"
        assert [p["id"] for p in desk.values("GET", "/api/panels")["panels"]] == ["Hatch_cover_7"]
        phone.pair(server.pairing.invite(ALL, "Hatch_cover_7").code)
        assert phone.status("POST", "/api/new", VALUES | {"name": "Another"}) == 403
