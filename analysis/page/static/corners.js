import { $, api, call, panelId, show } from "./common.js";
import { Tapper } from "./tapper.js";

let photo = "";
const tapper = new Tapper(() => {
  $("prompt").textContent = tapper.prompt();
  $("save").disabled = !tapper.complete();
  show("with-tape", tapper.wanted === 4);
  show("tape", tapper.wanted === 6);
});
$("back").addEventListener("click", () => tapper.back());
$("with-tape").addEventListener("click", () => { tapper.wanted = 6; tapper.draw(); });
$("save").addEventListener("click", async () => {
  $("error").textContent = "";
  try {
    const mm = Number($("mm").value.replace(",", "."));
    await call(api("/corners"), { corners: tapper.points.slice(0, 4), tape: tapper.points.slice(4), tape_mm: tapper.wanted === 6 ? mm : null, photo });
    location.href = `/panel/${encodeURIComponent(panelId())}`;
  } catch (error) {
    $("error").textContent = error.message;
  }
});
async function load() {
  const id = encodeURIComponent(panelId());
  $("to-board").href = `/panel/${id}`;
  const panel = await call(api());
  $("name").textContent = `Scale points: ${panel.name}`;
  if (!panel.length_mm || !panel.width_mm) tapper.wanted = 6;
  const answer = await fetch(api("/first"));
  if (!answer.ok && answer.status !== 404) {
    throw new Error((await answer.json()).error || `The computer answered ${answer.status}.`);
  }
  if (!answer.ok) {
    $("prompt").textContent = "No picture yet. Start the camera first.";
    setTimeout(load, 2000);
    return;
  }
  photo = decodeURIComponent(answer.headers.get("X-Frame-Name"));
  const image = tapper.image;
  image.src = URL.createObjectURL(await answer.blob());
  await image.decode();
  tapper.tap.style.maxWidth = `${(74 * image.naturalWidth) / image.naturalHeight}vh`;
  tapper.draw();
}
load().catch((error) => { $("error").textContent = error.message; });
