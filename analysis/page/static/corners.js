import { $, api, call, panelId, show, svg } from "./common.js";

const PROMPTS = ["corner 1: feed end", "corner 2: vent end, same side", "corner 3: vent end, far side", "corner 4: feed end, far side", "first tape mark", "second tape mark"];
let points = [], cross = null, wanted = 4, photo = "";
const image = $("image"), tap = $("tap"), loupe = $("loupe"), ZOOM = 4;

function toPixel(event) {
  const box = image.getBoundingClientRect();
  const x = ((event.clientX - box.left) / box.width) * image.naturalWidth - 0.5;
  const y = ((event.clientY - box.top) / box.height) * image.naturalHeight - 0.5;
  return [Math.min(Math.max(x, 0), image.naturalWidth - 1), Math.min(Math.max(y, 0), image.naturalHeight - 1)];
}
function toScreen([x, y]) {
  const box = image.getBoundingClientRect();
  return [box.left + ((x + 0.5) / image.naturalWidth) * box.width, box.top + ((y + 0.5) / image.naturalHeight) * box.height];
}
function drawLoupe() {
  show("loupe", Boolean(cross));
  if (!cross) return;
  const pen = loupe.getContext("2d"), side = loupe.width, part = side / ZOOM;
  pen.imageSmoothingEnabled = false;
  pen.fillStyle = "#000";
  pen.fillRect(0, 0, side, side);
  pen.drawImage(image, cross[0] + 0.5 - part / 2, cross[1] + 0.5 - part / 2, part, part, 0, 0, side, side);
  for (const [colour, width] of [["#000", 5], ["#ffe94a", 2]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.beginPath();
    pen.moveTo(side / 2, 20); pen.lineTo(side / 2, side / 2 - 6); pen.moveTo(side / 2, side / 2 + 6); pen.lineTo(side / 2, side - 20);
    pen.moveTo(20, side / 2); pen.lineTo(side / 2 - 6, side / 2); pen.moveTo(side / 2 + 6, side / 2); pen.lineTo(side - 20, side / 2);
    pen.stroke();
  }
  const [x, y] = toScreen(cross);
  const left = Math.min(Math.max(x - side / 2, 4), innerWidth - side - 14);
  const above = y - side - 50;
  loupe.style.left = `${left}px`;
  loupe.style.top = `${above > 4 ? above : y + 60}px`;
}
function drawMarks() {
  const w = image.naturalWidth, h = image.naturalHeight, scale = w / image.getBoundingClientRect().width || 1;
  const drawing = $("marks");
  drawing.setAttribute("viewBox", `0 0 ${w} ${h}`);
  drawing.style.setProperty("--u", scale);
  drawing.replaceChildren();
  const corners = points.slice(0, 4), middle = ([x, y]) => `${x + 0.5},${y + 0.5}`;
  if (corners.length > 1) {
    const shape = corners.length === 4 ? "polygon" : "polyline";
    for (const name of ["rim", "edge"]) drawing.append(svg(shape, { points: corners.map(middle).join(" "), class: name }));
  }
  points.forEach(([x, y], k) => {
    drawing.append(svg("circle", { cx: x + 0.5, cy: y + 0.5, r: 9 * scale }));
    drawing.append(svg("text", { x: x + 14 * scale, y: y - 10 * scale }, String(k + 1)));
  });
  $("prompt").textContent = points.length < wanted ? `Tap ${PROMPTS[points.length]}` : "All points set. Save them, or take one back.";
  $("save").disabled = points.length !== wanted;
  show("with-tape", wanted === 4);
  show("tape", wanted === 6);
}
function setPoint(point) {
  if (points.length < wanted) points.push(point);
  drawMarks();
}
tap.addEventListener("pointerdown", (event) => {
  event.preventDefault();
  tap.focus();
  tap.setPointerCapture(event.pointerId);
  cross = toPixel(event);
  drawLoupe();
});
tap.addEventListener("pointermove", (event) => {
  if (!cross || event.buttons === 0) return;
  cross = toPixel(event);
  drawLoupe();
});
tap.addEventListener("pointerup", (event) => {
  if (!cross) return;
  setPoint(toPixel(event));
  cross = null;
  drawLoupe();
});
tap.addEventListener("pointercancel", () => { cross = null; drawLoupe(); });
tap.addEventListener("keydown", (event) => {
  const step = event.shiftKey ? 20 : 1;
  const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
  cross = cross || [image.naturalWidth / 2, image.naturalHeight / 2];
  if (moves[event.key]) cross = [cross[0] + moves[event.key][0], cross[1] + moves[event.key][1]];
  else if (event.key === "Enter") setPoint([...cross]);
  else if (event.key === "Backspace") { points.pop(); drawMarks(); }
  else return;
  event.preventDefault();
  drawLoupe();
});
$("back").addEventListener("click", () => { points.pop(); drawMarks(); });
$("with-tape").addEventListener("click", () => { wanted = 6; drawMarks(); });
$("save").addEventListener("click", async () => {
  $("error").textContent = "";
  try {
    const mm = Number($("mm").value.replace(",", "."));
    await call(api("/corners"), { corners: points.slice(0, 4), tape: points.slice(4), tape_mm: wanted === 6 ? mm : null, photo });
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
  if (!panel.length_mm || !panel.width_mm) wanted = 6;
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
  image.src = URL.createObjectURL(await answer.blob());
  await image.decode();
  tap.style.maxWidth = `${(74 * image.naturalWidth) / image.naturalHeight}vh`;
  drawMarks();
}
addEventListener("resize", drawMarks);
load().catch((error) => { $("error").textContent = error.message; });
