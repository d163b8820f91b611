"""The day filed on a phone: a photo, findings, a mark and the record, and what is kept of them."""

import pytest

from analysis.record.day.day_toml import read_day
from tests.browser.conftest import SAMPLE
from tests.browser.hands import expecting, not_cut_off, opened, tap_plan


def file_the_day(phone, base, folder, name):
    """File a photo, findings and a mark on the phone, and write the record of a panel's folder."""
    opened(phone, f"{base}/day/{folder.name}", name)
    phone.click("#stages >> text=demoulded face")
    phone.fill("#photo-note", "weave shows near the vent")
    phone.set_input_files("#photo", SAMPLE / "frames" / "photo_0241.jpg")
    phone.wait_for_selector("#photos >> text=weave shows near the vent")
    phone.set_input_files("#photo", sorted((SAMPLE / "frames").iterdir())[0])
    phone.wait_for_selector("#photos li >> nth=1")
    phone.click("#photos li:not(:has-text('weave')) >> text=Take out")
    phone.click("#sure-yes")
    phone.wait_for_selector("#sure-text:has-text('kept in the folder taken_out')")
    phone.click("#sure-yes")
    phone.wait_for_selector("#photo-said:has-text('It is kept as taken_out/demoulded_face')")
    expecting(phone.locator("#photos li")).to_have_count(1)
    phone.click("fieldset:has(legend:text-is('Face')) >> button:text-is('good')")
    phone.click("fieldset:has(legend:text-is('Pits')) >> button:text-is('few')")
    for k, text in enumerate(("2.1", "2,0", "2.1", "2.2", "2.1")):
        phone.fill(f"#thickness-{k}", text)
    phone.fill("#weight_kg", "850 g")
    phone.click("text=Save findings")
    phone.wait_for_selector("text=Findings saved.")
    mark_the_panel(phone)
    phone.click("text=Write the record")
    phone.wait_for_selector("text=The record is written.")
    expecting(phone.locator("#marks")).to_contain_text("wetted at")
    check_the_day(folder)
    phone.click("text=Open the report")
    phone.wait_for_url(f"**/results/{folder.name}/report.html")
    for words in ("size of a pea", "weave shows near the vent", "demoulded face", "pump checked"):
        expecting(phone.locator("body")).to_contain_text(words, ignore_case=True)
    not_cut_off(phone)


def mark_the_panel(phone):
    """Mark a pit and something more on the plan, and take the second back."""
    expecting(phone.locator("#plan .front").nth(2)).to_be_attached()
    tap_plan(phone, 1 / 2, 1 / 4)
    phone.wait_for_selector("#where:has-text('mm from the feed')")
    phone.click("#kinds >> text=pit")
    phone.fill("#mark-note", "size of a pea")
    phone.click("#save-mark")
    phone.wait_for_selector("#marks >> text=pit at")
    tap_plan(phone, 1 / 3, 1 / 2)
    phone.click("#save-mark")
    phone.wait_for_selector("#marks li >> nth=1")
    phone.click("[aria-label='Take out mark 2']")
    phone.wait_for_selector("text=Mark 2 is taken out.")


def check_the_day(folder):
    """What was filed on the phone is on the computer."""
    day = read_day(folder)
    assert [(photo.stage, photo.note) for photo in day.photos] == [
        ("demoulded face", "weave shows near the vent")
    ]
    assert (day.findings.surface, day.findings.pits) == ("good", "few")
    assert day.findings.thickness_mm == (2.1, 2.0, 2.1, 2.2, 2.1)
    assert day.findings.weight_kg == pytest.approx(0.85)
    (mark,) = day.marks
    assert (mark.kind, mark.note) == ("pit", "size of a pea")
    assert mark.x_mm == pytest.approx(210, abs=3)
    assert mark.y_mm == pytest.approx(60, abs=3)
