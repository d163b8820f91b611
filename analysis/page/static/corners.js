import { $, api, call, element, panelId, show } from "./common.js";
import { Sketch } from "./sketch.js";
import { Tapper } from "./tapper.js";

const id = encodeURIComponent(panelId());
const LEAD = "The plan leads: tap its corners in its order, and pass over what does not show.";
const ENOUGH = "Enough to go on with, but more corners are surer. Tap on, or show the plan on the photo.";
let photo = "", part = null, sketch = null;
const tapper = new Tapper(() => {
  const left = tapper.points.length < tapper.wanted;
  $("prompt").textContent = part ? partPrompt(left) : tapper.prompt();
  $("save").disabled = !tapper.complete();
  show("with-tape", !part && tapper.wanted === 4);
  show("tape", !part && tapper.wanted === 6);
  $("pass").disabled = !left;
  $("back").disabled = !tapper.points.length;
  if (part) $("how").textContent = tapper.complete() && left ? ENOUGH : LEAD;
  if (sketch) sketch.draw(tapper.points);
});
$("back").addEventListener("click", () => tapper.back());
$("pass").addEventListener("click", () => tapper.pass());
$("with-tape").addEventListener("click", () => { tapper.wanted = 6; tapper.draw(); });
$("save").addEventListener("click", () => attempt("error", part ? look : savePanel));

function partPrompt(left) {
  if (left || tapper.complete()) return tapper.prompt().replace("Save them", "Show the plan on the photo");
  return `Too few: ${tapper.tapped} corners are tapped, ${tapper.fewest} are needed. Take one back.`;
}
async function attempt(place, work) {
  $(place).textContent = "";
  try {
    await work();
  } catch (error) {
    $(place).textContent = error.message;
    $(place).scrollIntoView({ block: "nearest" });
  }
}
async function savePanel() {
  const mm = Number($("mm").value.replace(",", "."));
  await call(api("/corners"), { corners: tapper.points.slice(0, 4), tape: tapper.points.slice(4), tape_mm: tapper.wanted === 6 ? mm : null, photo });
  location.href = `/panel/${id}`;
}

// -- a part: the plan is drawn back on the photo, and written once the user has looked at it
const taps = (write) => call(api("/corners"), { points: tapper.points, photo, write });
function looking(yes) {
  for (const name of ["tap", "tools", "prompt", "sketch-box"]) show(name, !yes);
  show("look", yes);
}
async function look() {
  $("save").disabled = true;
  try {
    const found = await taps(false);
    $("drawn").src = found.drawn;
    $("look-sure").textContent = `Places on the part are sure to ${found.error_mm.toFixed(1)} mm.`;
    $("look-warnings").replaceChildren(...found.warnings.map((text) => element("li", `Look at: ${text}`)));
    looking(true);
    $("look").focus();
    scrollTo(0, 0);
  } finally {
    $("save").disabled = !tapper.complete();
  }
}
$("no").addEventListener("click", () => { looking(false); tapper.draw(); });
$("yes").addEventListener("click", () => attempt("write-error", async () => {
  await taps(true);
  location.href = `/panel/${id}`;
}));

async function lead(query) {
  const asked = await call(api(`/outline${query}`));
  part = asked;
  tapper.wanted = asked.points.length;
  tapper.prompts = asked.points.map((point) => point.words);
  [tapper.fewest, tapper.ring] = [asked.fewest, 0];
  sketch = new Sketch($("sketch"), asked);
  show("sketch-box", true);
  show("pass", true);
  $("save").textContent = "Show the plan on the photo";
}
async function load() {
  $("to-board").href = `/panel/${id}`;
  const panel = await call(api());
  $("name").textContent = `Scale points: ${panel.name}`;
  const query = panel.kind === "part" ? location.search : "";
  if (!panel.length_mm || !panel.width_mm) tapper.wanted = 6;
  const answer = await fetch(api(`/first${query}`));
  const values = answer.ok ? {} : await answer.json().catch(() => ({}));
  if (answer.status === 404 || /are needed|no photos/.test(values.error || "")) {
    $("prompt").textContent = panel.kind === "part" ? "Too few pictures yet: four are needed. Start the camera first." : "No picture yet. Start the camera first.";
    setTimeout(load, 2000);
    return;
  }
  if (!answer.ok) throw new Error(values.error || `The computer answered ${answer.status}.`);
  photo = decodeURIComponent(answer.headers.get("X-Frame-Name"));
  const image = tapper.image;
  image.src = URL.createObjectURL(await answer.blob());
  await image.decode();
  tapper.tap.style.maxWidth = `${(74 * image.naturalWidth) / image.naturalHeight}vh`;
  if (panel.kind === "part") await lead(query);
  tapper.draw();
}
load().catch((error) => { $("error").textContent = error.message; });
