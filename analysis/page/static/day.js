import { $, api, call, element, panelId, show, sure } from "./common.js";
import { Plan } from "./plan.js";
import { Queue } from "./queue.js";
import { Sketch } from "./sketch.js";
import { Tapper } from "./tapper.js";

const id = encodeURIComponent(panelId());
const WORDS = { surface: "Face", pits: "Pits", dry_areas: "Dry areas", print_through: "Print-through" };
const PLACES = ["feed corner", "vent end, same side", "vent end, far side", "feed end, far side", "middle"];
const places = () => (isPart() ? ["place 1", "place 2", "place 3", "place 4", "place 5"] : PLACES).slice(0, day.places);
const picked = {};
let day = null, filled = false, flow = [];
const isPart = () => day !== null && day.kind === "part";

// -- large buttons, of which one is on; a second press on a finding takes it off again
function choices(place, name, values, drop = false) {
  place.replaceChildren(...values.map((value) => {
    const button = element("button", value, "choice");
    button.type = "button";
    button.setAttribute("role", "radio");
    button.addEventListener("click", () => {
      picked[name] = drop && picked[name] === value ? "" : value;
      mark(place, name);
    });
    return button;
  }));
  mark(place, name);
}
function mark(place, name) {
  for (const button of place.children) {
    const on = button.textContent === picked[name];
    button.setAttribute("aria-checked", String(on));
    button.classList.toggle("on", on);
  }
}
async function act(said, work) {
  $("error").textContent = "";
  $(said).textContent = "";
  try {
    $(said).textContent = await work();
  } catch (error) {
    $(said).textContent = error.message;
  }
}

// -- photos: kept on this phone until the computer has them on disk
const queue = await new Queue(`photos of ${panelId()}`).open();
$("photo").addEventListener("change", async () => {
  const file = $("photo").files[0];
  if (!file) return;
  const age = Date.now() - file.lastModified;
  const taken = age >= 0 && age < 60 * 24 * 3600e3 ? file.lastModified : Date.now();
  const taking = { stage: picked.stage, note: $("photo-note").value.trim(), taken, data: await file.arrayBuffer(), corners: "" };
  await ($("with-corners").checked ? held : queue).put(taking);
  $("photo").value = "";
  $("photo-note").value = "";
  $("photo-said").textContent = $("with-corners").checked ? "" : "Sending ...";
  await showHeld();
});
// A photo whose corners are still to be tapped waits on this phone too.
const held = await new Queue(`tapping of ${panelId()}`).open();
let sketch = null;
const tapper = new Tapper(() => {
  $("prompt").textContent = tapper.prompt().replace("Save them", "File it");
  $("file-it").disabled = !tapper.complete();
  if (sketch) sketch.draw(tapper.points);
});
// A part's plan leads from corner to corner.
async function lead() {
  if (sketch || !isPart()) return;
  const asked = await call(api("/day/corners"));
  [tapper.wanted, tapper.fewest, tapper.ring] = [asked.points.length, asked.fewest, 0];
  tapper.prompts = asked.points.map((point) => point.words);
  sketch = new Sketch($("sketch"), asked);
  show("sketch-box", true);
  show("pass", true);
}
let shown = null; // what is shown already keeps the points tapped on it
async function showHeld() {
  const next = await held.first(), before = shown;
  show("held", Boolean(next));
  show("take", !next);
  shown = next && (next.key ?? next.frame);
  if (!next || shown === before) return;
  await lead().catch((error) => { $("photo-said").textContent = error.message; });
  tapper.image.src = URL.createObjectURL(new Blob([next.frame.data], { type: "image/jpeg" }));
  await tapper.image.decode().catch(() => { $("photo-said").textContent = "This picture can't be shown. File it without corners."; });
  tapper.clear();
  if (!isPart() && next.frame.stage === "demoulded back") $("prompt").textContent = "On the back the corners run anticlockwise. Tap corner 1: feed end";
}
async function letGo(corners) {
  const next = await held.first();
  await queue.put({ ...next.frame, corners });
  await held.drop(next.key);
  $("photo-said").textContent = "Sending ...";
  await showHeld();
}
$("back").addEventListener("click", () => tapper.back());
$("pass").addEventListener("click", () => tapper.pass());
$("without").addEventListener("click", () => letGo(""));
$("file-it").addEventListener("click", async () => {
  const { frame } = await held.first(), back = frame.stage === "demoulded back";
  if (!isPart() && tapper.turning() > 0 === back) {
    tapper.clear();
    $("photo-said").textContent = `The corners ran the wrong way round: tap them ${back ? "anticlockwise" : "clockwise"} from the feed corner.`;
    return;
  }
  await letGo(JSON.stringify(tapper.points.map((point) => point && point.map((v) => Math.round(v * 10) / 10))));
});
async function pump() {
  let without = "";
  for (;;) {
    const next = await queue.first();
    if (!next) {
      await new Promise((go) => setTimeout(go, 300));
      continue;
    }
    const { stage, note, taken, data, corners } = next.frame;
    try {
      const answer = await fetch(api("/day/photo"), {
        method: "POST",
        headers: { "X-Stage": encodeURIComponent(stage), "X-Note": encodeURIComponent(note), "X-Age-Ms": String(Math.max(0, Date.now() - taken)), "X-Corners": corners || "" },
        body: data,
      });
      const values = await answer.json().catch(() => ({}));
      if (answer.status === 409 && corners && /corners/.test(values.error || "")) { // the photo counts more
        await queue.put({ ...next.frame, corners: "" });
        await queue.drop(next.key);
        without = ` Without its corners: ${values.error.replace(/^corners: /, "")}`;
        continue;
      }
      const done = answer.ok || answer.status === 413 || (answer.status === 409 && /filed already|picture|stage/.test(values.error || ""));
      if (done) {
        await queue.drop(next.key);
        $("photo-said").textContent = answer.ok ? `Filed: ${stage}, ${await queue.size()} waiting.${without}` : values.error;
        without = "";
        await load().catch(() => {});
        continue;
      }
      $("photo-said").textContent = answer.status === 401 ? "This phone must be paired again. The photo is kept here." : values.error || "The computer cannot save photos now. The photo is kept here.";
    } catch {
      $("photo-said").textContent = "The computer cannot be reached. The photo is kept on this phone and sent later.";
    }
    await new Promise((go) => setTimeout(go, 2500));
  }
}

// -- findings
function fill() {
  const found = day.findings;
  $("choices").replaceChildren(...Object.entries(day.choices).map(([name, values]) => {
    const set = element("fieldset"), box = element("div", "", values.length === 3 ? "choices three" : "choices");
    set.append(element("legend", WORDS[name]), box);
    box.setAttribute("role", "radiogroup");
    box.setAttribute("aria-label", WORDS[name]);
    picked[name] = found[name];
    choices(box, name, values, true);
    return set;
  }));
  $("thickness").replaceChildren(element("legend", "Thickness in mm"), ...places().map((place, k) => {
    const label = element("label", place), input = element("input");
    label.htmlFor = input.id = `thickness-${k}`;
    input.inputMode = "decimal";
    input.autocomplete = "off";
    input.value = found.thickness_mm[k] ?? "";
    const both = element("span");
    both.append(label, input);
    return both;
  }));
  for (const name of ["weight_kg", "resin_used_kg", "resin_left_kg"]) $(name).value = found[name] ?? "";
  $("findings-note").value = found.note;
  $("done_by").value = day.done_by;
  $("batch").value = day.batch;
}
$("findings").addEventListener("submit", (event) => {
  event.preventDefault();
  act("findings-said", async () => {
    const values = { note: $("findings-note").value, done_by: $("done_by").value, batch: $("batch").value };
    for (const name of Object.keys(day.choices)) values[name] = picked[name] || "";
    for (const name of ["weight_kg", "resin_used_kg", "resin_left_kg"]) values[name] = $(name).value;
    values.thickness_mm = [...$("thickness").querySelectorAll("input")].map((input) => input.value);
    await call(api("/day/findings"), values);
    return "Findings saved.";
  });
});

// -- marks
const plan = new Plan($("plan"), ([x, y]) => {
  $("where").textContent = isPart() ? `x ${x}, y ${y} mm on the plan` : `${x} mm from the feed, ${y} mm across`;
  $("save-mark").disabled = false;
});
$("save-mark").addEventListener("click", () => act("mark-said", async () => {
  if (!picked.kind) throw new Error("Choose what was found there.");
  const [x_mm, y_mm] = plan.named;
  await call(api("/day/mark"), { kind: picked.kind, x_mm, y_mm, note: $("mark-note").value });
  const said = `Mark ${day.marks.length + 1} saved: ${picked.kind} at ${x_mm}, ${y_mm} mm.`;
  plan.cross = null;
  $("mark-note").value = "";
  $("save-mark").disabled = true;
  $("where").textContent = "No place chosen yet.";
  await load();
  return said;
}));
$("record").addEventListener("click", () => act("record-said", async () => {
  $("record").disabled = true;
  try {
    flow = (await call(api("/day/record"), {})).flow;
  } finally {
    $("record").disabled = false;
  }
  await load();
  return "The record is written.";
}));

function photoLine(photo) {
  const item = element("li", "", "filed"), image = element("img");
  image.src = `/stages/${id}/${encodeURIComponent(photo.file.split("/").pop())}`;
  image.alt = "";
  image.loading = "lazy";
  const text = element("div");
  const time = photo.time ? photo.time.replace("T", " ").slice(0, 16) + (photo.time_from === "file" ? " (by the file's date)" : "") : "time not known";
  text.append(element("strong", photo.stage), element("div", time, "soft"), element("div", photo.note));
  if (day.rights.includes("see")) item.append(image);
  item.append(text);
  if (day.rights.includes("file")) {
    const out = element("button", "Take out", "small");
    out.setAttribute("aria-label", `Take out the photo of ${photo.stage}, ${time}`);
    out.addEventListener("click", () => takeOut(photo, time));
    item.append(out);
  }
  return item;
}
// Asked twice: a photo in the record is somebody's proof. It is kept aside, and the record says so.
async function takeOut(photo, time) {
  if (!(await sure(`Take the photo of ${photo.stage}, ${time}, out of the record?`))) return;
  if (!(await sure("It will be kept in the folder taken_out, and the record will say so. Take it out now?", true))) return;
  act("photo-said", async () => {
    const { out } = await call(api("/day/unphoto"), { file: photo.file, stage: photo.stage });
    await load();
    return `Taken out: ${out.stage}. It is kept as ${out.kept}.`;
  });
}
function nameThings() {
  if (!isPart()) return;
  $("to-board").textContent = "Part";
  $("plan-name").textContent = "Marks on the part";
  $("plan-how").textContent = "As on the plan, from above. Press, slide until the cross is on the place, and let go.";
  $("plan").setAttribute("aria-label", "The part from above. Arrow keys move the cross; Save mark files it.");
  $("with-corners-words").textContent = "Tap the part's corners in it, as its plan leads: for front lines where the scale cards don't show";
}
async function load() {
  day = await call(api("/day"));
  const files = day.rights.includes("file");
  $("name").textContent = day.name;
  nameThings();
  if (!$("stages").children.length) {
    picked.stage = picked.stage || day.stages[0];
    choices($("stages"), "stage", day.stages);
  }
  show("to-board", day.rights.includes("see"));
  $("photos").replaceChildren(...(day.photos || []).map(photoLine));
  show("filing", files);
  if (!files) return;
  if (!filled) {
    filled = true;
    fill();
    choices($("kinds"), "kind", day.kinds);
    const shape = await call(api("/day/plan"));
    if (shape.length_mm && shape.width_mm) plan.show(shape);
    else $("plan-how").textContent = "Marks need the panel's size: write length_mm and width_mm into panel.toml.";
  }
  plan.marks = day.marks;
  plan.draw();
  $("marks").replaceChildren(...day.marks.map((m, k) => {
    const item = element("li", `${m.kind} at ${Math.round(m.x_mm)}, ${Math.round(m.y_mm)} mm${m.note ? `: ${m.note}` : ""}`);
    const out = element("button", "Take out", "small");
    out.setAttribute("aria-label", `Take out mark ${k + 1}`);
    out.addEventListener("click", () => act("mark-said", async () => {
      await call(api("/day/unmark"), { number: k + 1, kind: m.kind, x_mm: m.x_mm, y_mm: m.y_mm });
      flow = [];
      await load();
      return `Mark ${k + 1} is taken out.`;
    }));
    item.append(" ", out);
    if (flow[k]) item.append(element("div", `The front there: ${flow[k]}`, "soft"));
    return item;
  }));
  show("report", day.report && day.rights.includes("see"));
  $("report").href = `/results/${id}/${day.report}`;
}
$("to-board").href = `/panel/${id}`;
$("to-camera").href = `/camera/${id}`;
await load().catch((error) => { $("error").textContent = error.message; });
showHeld();
pump();
