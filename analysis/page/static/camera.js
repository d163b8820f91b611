import { $, api, call, panelId, show, svg } from "./common.js";
import { Queue } from "./queue.js";

const queue = await new Queue(panelId()).open();
const session = crypto.getRandomValues(new Uint32Array(3)).join("-");
let may = [], state = null;
let taking = false, count = 0, lock = null, size = [400, 240], plan = null, number = 0, trouble = "", due = 0;

function tell(text) {
  trouble = text;
  show("trouble", Boolean(text));
  $("trouble-text").textContent = text;
}
async function status() {
  const waiting = await queue.size();
  const sent = `${count} pictures taken`;
  $("stat").textContent = (taking || count || waiting) ? `${sent}, ${waiting ? `${waiting} waiting to be sent` : "all saved on the computer"}` : "Not started.";
}

// -- sending: oldest first, kept until the computer says that it is on disk
async function pump() {
  let pause = 500;
  for (;;) {
    const next = await queue.first();
    if (!next) {
      await new Promise((go) => setTimeout(go, 300));
      continue;
    }
    try {
      const answer = await fetch(api("/frame"), {
        method: "POST",
        headers: { "X-Frame-Id": next.frame.id, "X-Age-Ms": String(Math.max(0, Date.now() - next.frame.taken)) },
        body: next.frame.data,
      });
      const values = await answer.json().catch(() => ({}));
      if (answer.ok || answer.status === 413 || (answer.status === 409 && /picture/.test(values.error || ""))) {
        await queue.drop(next.key);
        tell(answer.ok ? "" : values.error);
        pause = 500;
      } else if (answer.status === 401) {
        tell("This phone must be paired again: scan the picture on the computer. The pictures are kept here.");
        pause = 4000;
      } else if (/has ended/.test(values.error || "")) {
        await queue.drop(next.key); // it came after the clamp
        taking = false;
        $("go").textContent = "Start taking pictures";
        tell("The run has ended. Its result is on the board.");
        pause = 500;
      } else {
        tell(values.error || "The computer cannot save pictures now.");
        if (/not being watched/.test(values.error || "")) {
          if (!may.includes("run")) tell(WAITING);
          await begin().catch(() => {});
        }
        pause = 3000;
      }
    } catch {
      tell("The computer cannot be reached. Pictures are kept on this phone and sent later.");
      pause = Math.min(pause * 2, 5000);
      await status();
      await new Promise((go) => setTimeout(go, pause));
      continue;
    }
    await status();
    if (pause > 500) await new Promise((go) => setTimeout(go, pause));
  }
}

// -- taking
const WAITING = "The run has not been started at the desk yet. Pictures are kept on this phone and sent then.";
// Who may not start runs waits for the desk, and takes the beat that it has set.
async function begin() {
  if (!may.length) await look(); // pressed before the computer had said what this phone may do
  if (may.includes("run")) return call(api("/start"), { camera: "phone", interval_s: Number($("interval").value) });
  await look();
  if (state === null) tell(WAITING);
  else if (state === "ended") throw new Error("The run has ended. Its result is on the board.");
}
async function look() {
  const panel = await call(api("/camera"));
  [may, state] = [panel.rights, panel.state];
  $("name").textContent = panel.name;
  if (panel.length_mm && panel.width_mm) size = [panel.length_mm, panel.width_mm];
  plan = panel.plan || null;
  if (plan) $("how").textContent = "Fix the phone so that it cannot move. Line the part up with its outline, turned as the plan is, with some table in view all round.";
  if (panel.interval_s && !may.includes("run")) {
    const step = String(panel.interval_s);
    if (![...$("interval").options].some((o) => o.value === step)) $("interval").append(new Option(`${step} s`, step));
    $("interval").value = step;
  }
  $("interval").disabled = !may.includes("run");
  show("beat", !may.includes("run"));
  show("to-board", may.includes("see"));
}

async function keep(data, taken) {
  number += 1;
  await queue.put({ id: `${session}-${number}`, taken, data });
  count += 1;
  await status();
}
const canvas = document.createElement("canvas");
async function take() {
  const video = $("video");
  if (!video.videoWidth) return;
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  const taken = Date.now();
  canvas.getContext("2d").drawImage(video, 0, 0);
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.92));
  if (blob) await keep(await blob.arrayBuffer(), taken);
}
async function beat() {
  for (;;) {
    if (taking && Date.now() >= due) {
      const step = Number($("interval").value) * 1000;
      due = Date.now() - due < step ? due + step : Date.now() + step;
      await take().catch((error) => tell(error.message));
    }
    await new Promise((go) => setTimeout(go, 50));
  }
}
async function stayAwake() {
  if (!taking || document.hidden) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    $("awake").textContent = "The screen stays on.";
  } catch {
    $("awake").textContent = "Set the phone's screen to stay on: this browser cannot do it.";
  }
}
document.addEventListener("visibilitychange", stayAwake);

function why(error) {
  return {
    NotAllowedError: "The browser may not use the camera. Allow it in the browser's settings, or take photos by hand below.",
    NotFoundError: "This device has no camera. Open this page on a phone, or choose photos below.",
    NotReadableError: "Another program uses the camera. Close it and try again.",
  }[error.name] || error.message;
}
async function openCamera() {
  if (!navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) throw new Error("This browser gives no live camera. Take photos by hand below.");
  const stream = await navigator.mediaDevices.getUserMedia({
    audio: false,
    video: { facingMode: { ideal: "environment" }, width: { ideal: 1920 }, height: { ideal: 1080 } },
  });
  stream.getVideoTracks()[0].addEventListener("ended", () => {
    if (taking) tell("The camera was taken away. Trying again.");
    setTimeout(() => openCamera().catch(() => {}), 2000);
  });
  $("video").srcObject = stream;
  await $("video").play();
  outline();
}

$("go").addEventListener("click", async () => {
  if (taking) {
    taking = false;
    if (lock) lock.release();
    $("go").textContent = "Go on taking pictures";
    return;
  }
  try {
    if (!$("video").srcObject) await openCamera();
    await begin();
    taking = true;
    due = Date.now();
    $("go").textContent = "Pause";
    if (may.includes("run") || state) tell("");
    stayAwake();
  } catch (error) {
    tell(why(error));
  }
});

$("files").addEventListener("change", async () => {
  try {
    await begin();
    for (const file of [...$("files").files].sort((a, b) => a.lastModified - b.lastModified)) {
      const age = Date.now() - file.lastModified;
      await keep(await file.arrayBuffer(), age >= 0 && age < 12 * 3600e3 ? file.lastModified : Date.now());
    }
  } catch (error) {
    tell(error.message);
  }
  $("files").value = "";
});

// -- the outline to line the panel or part up with
function outline() {
  const video = $("video"), width = video.videoWidth || 1280, height = video.videoHeight || 720;
  const drawing = $("outline"), scale = Math.min((0.68 * width) / size[0], (0.62 * height) / size[1]);
  const w = size[0] * scale, h = size[1] * scale, x = (width - w) / 2, y = (height - h) / 2;
  drawing.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const shown = Math.min(drawing.clientWidth / width, drawing.clientHeight / height) || 1;
  drawing.style.setProperty("--u", 1 / shown);
  if (plan) {
    const at = (points) => points.map(([px, py]) => `${x + px * scale} ${y + py * scale}`).join("L");
    const d = [...plan.rings.map((ring) => `M${at(ring)}Z`), ...plan.feeds.filter((feed) => feed.points.length > 1).map((feed) => `M${at(feed.points)}`)].join("");
    const named = plan.feeds.map(({ name, points: [[px, py]] }) => svg("text", { x: x + px * scale + 8 / shown, y: y + py * scale + 24 / shown }, name));
    drawing.replaceChildren(svg("path", { d, class: "rim" }), svg("path", { d, class: "edge" }), ...named);
    return;
  }
  const box = { x, y, width: w, height: h };
  drawing.replaceChildren(
    svg("rect", { ...box, class: "rim" }), svg("rect", { ...box, class: "edge" }),
    svg("text", { x: x + 10 / shown, y: y + h / 2 }, "feed"),
    svg("text", { x: x + w - 10 / shown, y: y + h / 2, "text-anchor": "end" }, "vent"),
  );
}

addEventListener("resize", outline);

$("own").addEventListener("submit", async (event) => {
  event.preventDefault();
  const text = $("words").value.trim();
  if (!text) return;
  try {
    await call(api("/note"), { text, age_s: 0 });
    $("words").value = "";
    $("said").textContent = `Noted: ${text}`;
  } catch (error) {
    $("said").textContent = error.message;
  }
});

async function load() {
  $("to-board").href = `/panel/${encodeURIComponent(panelId())}`;
  $("to-day").href = `/day/${encodeURIComponent(panelId())}`;
  await look();
  outline();
}
load().catch((error) => tell(error.message));
openCamera().catch((error) => tell(why(error)));
status();
pump();
beat();
