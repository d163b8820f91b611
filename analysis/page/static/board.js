import { $, api, call, clock, element, fileLinks, panelId, show, sure } from "./common.js";
import { CAPTION, drawPart, gaugeText, partNumbers } from "./part.js";

let panel = null, may = [];
let board = null, skew = 0, muted = new Set(), audio = null, pictureVersion = -1, saidTimer = 0;
const id = encodeURIComponent(panelId());

// -- sound: two tones for "act now", one low tone for "look"
function beep() {
  if (!audio || !board) return;
  const loud = board.alarms.filter((alarm) => !muted.has(alarm.key));
  if (!loud.length) return;
  const act = loud.some((alarm) => alarm.level === "act");
  (act ? [880, 620, 880] : [440]).forEach((pitch, k) => {
    const tone = audio.createOscillator(), gain = audio.createGain();
    const at = audio.currentTime + k * 0.22;
    tone.frequency.value = pitch;
    tone.type = "square";
    gain.gain.setValueAtTime(act ? 0.25 : 0.1, at);
    gain.gain.exponentialRampToValueAtTime(0.001, at + 0.2);
    tone.connect(gain).connect(audio.destination);
    tone.start(at);
    tone.stop(at + 0.2);
  });
  if (navigator.vibrate && act) navigator.vibrate([200, 100, 200]);
}
function wakeSound() {
  audio = audio || new (window.AudioContext || window.webkitAudioContext)();
  audio.resume();
}
document.addEventListener("pointerdown", wakeSound);
document.addEventListener("keydown", wakeSound);
setInterval(beep, 4000);

// -- alarms
let alarmsShown = "";
function drawAlarms() {
  const text = JSON.stringify([board.alarms, [...muted], board.state, board.air]);
  if (text === alarmsShown) return;
  const before = alarmsShown;
  alarmsShown = text;
  const present = new Set(board.alarms.map((alarm) => alarm.key));
  muted = new Set([...muted].filter((key) => present.has(key)));
  const rows = board.alarms.map((alarm) => {
    const act = alarm.level === "act";
    const row = element("div", "", `alarm ${act ? "act" : "look"}`);
    const sign = element("span", act ? "\u25B2" : "\u25CF", "sign");
    sign.setAttribute("aria-hidden", "true");
    const words = element("div", "", "words");
    words.append(element("strong", `${act ? "ACT NOW" : "CHECK"}: ${alarm.text}`), element("span", alarm.todo));
    row.append(sign, words);
    if (!muted.has(alarm.key)) {
      const button = element("button", "Sound off");
      button.setAttribute("aria-label", `Sound off for: ${alarm.text}`);
      button.addEventListener("click", () => { muted.add(alarm.key); drawAlarms(); });
      row.append(button);
    }
    return row;
  });
  const shutIn = board.air && board.air.length > 0; // not alarming yet, but nothing to call well
  if (!rows.length && !shutIn && board.state === "running") {
    const row = element("div", "", "alarm fine");
    const sign = element("span", "\u2713", "sign");
    sign.setAttribute("aria-hidden", "true");
    row.append(sign, element("div", "All well", "words"));
    rows.push(row);
  }
  $("alarms").replaceChildren(...rows);
  if (before && board.alarms.some((alarm) => !before.includes(`"key":"${alarm.key}"`))) beep();
}

// -- numbers
function set(name, value, unit = "", more = "") {
  $(name).replaceChildren(document.createTextNode(value));
  if (unit) $(name).append(" ", element("small", unit));
  const place = $(`${name}-more`);
  if (place) place.textContent = more;
}
const round = (value, digits = 0) => Number(value).toFixed(digits);

function elapsed() {
  if (!board || board.start_ms === null) return null;
  return board.ended ? board.elapsed_s : (Date.now() + skew - board.start_ms) / 1000;
}

function drawClocks() {
  if (!board || !board.watched) return;
  const now = elapsed();
  set("clock", clock(now), "", now === null ? "not open yet" : board.stamped ? "stamped" : "found from the pictures");
  if (board.reached) set("left", "there", "", board.end_text);
  else if (board.ended) set("left", "-", "", "run ended before");
  else if (board.end_s !== null && now !== null) {
    const last = board.end_high_s;
    const span = board.kind === "part" ? "range" : "95 %";
    if (last !== null && now > last) set("left", "overdue", "", `${span}: ${clock(now - last)} ago at the latest; look at the ${board.kind}`);
    else {
      const first = now > board.end_low_s ? "now" : clock(board.end_low_s - now);
      const range = board.end_low_s === null ? "" : `${span}: ${first} to ${last === null ? "never" : clock(last - now)}${board.slowing ? "; later if it goes on slowing" : ""}`;
      set("left", now > board.end_s ? "due now" : clock(board.end_s - now), "", range);
    }
  } else set("left", "-", "", "not known yet");
  if (board.gel_s === null) set("gel", "-", "", "no gel time given");
  else {
    const margin = board.margin_s === null ? "" : board.margin_s >= 0 ? `${clock(board.margin_s)} after the end` : `${clock(-board.margin_s)} BEFORE the end`;
    const passed = now !== null && now > board.gel_s;
    set("gel", passed ? "passed" : clock(board.gel_s - (now || 0)), "", now === null ? "after the start" : margin);
  }
  const quiet = board.silence_s + (Date.now() + skew - board.now_ms) / 1000;
  set("frames", String(board.frames), "", board.frames ? `last ${Math.max(0, Math.round(quiet))} s ago, ${board.camera}` : board.camera);
}

function drawBeside({ beside, good_left_out: leftOut = [] }) {
  show("beside", Boolean(beside) || leftOut.length > 0);
  const places = beside && beside.places_text ? `; ${beside.places_text}` : "";
  const lines = beside ? [`Beside the good runs: ${beside.text}${places}`] : [];
  $("beside").textContent = [...lines, ...leftOut.map((line) => `Good run left out: ${line}`)].join(". ");
}

function draw() {
  document.title = `${board.alarms.length ? "! " : ""}${board.name}: Wetline`;
  $("name").textContent = board.name;
  drawAlarms();
  nameThings(board.kind);
  const front = board.front;
  if (board.kind === "part") {
    partNumbers(board, set);
    drawPart(board, board.rights, { stamp, sure });
  } else if (front) {
    set("front", round(front.mean_mm), "mm", `of ${round(front.length_mm)} mm; ${board.width_text}${front.settled ? "" : "; settling"}`);
    set("speed", front.speed_mm_min === null ? "-" : round(front.speed_mm_min, 1), "", front.filled ? "at the end" : "mm in a minute");
  } else {
    set("front", "-", "mm", board.state === "running" ? "no front yet" : board.state);
    set("speed", "-", "", "mm in a minute");
  }
  drawClocks();
  drawBeside(board);
  const before = board.start_ms === null, part = board.kind === "part";
  show("drawdown", !board.ended && (before || part));
  $("drawdown-name").textContent = before ? "Drawdown before the start" : "Vacuum gauge";
  $("drawdown-text").textContent = before || !part ? (board.drawdown.verdict ? `${board.drawdown.verdict.toUpperCase()}: ` : "") + board.drawdown.text : gaugeText(board);
  show("todo", Boolean(board.todo));
  $("todo-text").textContent = board.todo;
  may = board.rights;
  show("to-corners", /^Tap the (panel|part)/.test(board.todo) && may.includes("scale"));
  show("to-camera", board.camera === "phone" && !board.ended);
  for (const name of ["open", "clamp", "end"]) show(name, may.includes("run"));
  show("gauge", may.includes("run"));
  $("open").classList.toggle("done", board.stamped);
  $("open").textContent = board.stamped ? "\u2713 Resin open" : "Resin open";
  $("clamp").classList.toggle("done", board.clamped);
  $("clamp").textContent = board.clamped ? "\u2713 Clamped" : "Clamp now";
  for (const name of ["open", "clamp", "end"]) $(name).disabled = board.ended;
  show("hands", !board.ended);
  show("to-hands", !board.ended);
  show("numbers", !board.ended);
  show("final", board.ended);
  if (board.ended) drawFinal(board.final);
}

function nameThings(kind) {
  const part = kind === "part";
  $("front-name").textContent = part ? "Wet" : "Front";
  $("left-name").textContent = part ? "To full" : "To the end";
  $("speed-name").textContent = part ? "Not seen" : "Speed";
  $("start-name").textContent = `Watch this ${part ? "part" : "panel"}`;
  if (part) $("picture-words").textContent = CAPTION;
}

// -- a panel that is done: verdict, report and pictures first, and no button of a live run
const PICTURES = [["part_lines.jpg", "Planned and seen front on the last photo"], ["part_late.png", "Minutes earlier and later than planned"], ["part_resin_seen.png", "Resin in the part"], ["front_lines.jpg", "Front lines on the photo"], ["front_lines.png", "Front lines at the times asked for"], ["plan_view.png", "The panel from above"], ["curve.png", "Front against time"], ["unexplained.png", "Where the photos do not bear the result out"]];
function drawShots(files) {
  const found = PICTURES.filter(([name]) => files.includes(name));
  const fresh = Date.now();
  $("shots").replaceChildren(...found.map(([name, words]) => {
    const figure = element("figure"), image = element("img");
    image.src = `/results/${id}/${name}?v=${fresh}`;
    image.alt = words;
    figure.append(image, element("figcaption", words));
    return figure;
  }));
  show("shots", found.length > 0);
}
function button(text, href, main = false) {
  const link = element("a", text, main ? "button main" : "button");
  link.href = href;
  return link;
}
let stillShown = "";
function drawStill() {
  const text = JSON.stringify(panel);
  if (text === stillShown) return;
  stillShown = text;
  may = panel.rights;
  nameThings(panel.kind);
  const at = panel.run, done = Boolean(panel.verdict) && !(at && at.running), files = panel.files || [];
  $("name").textContent = panel.name;
  show("to-hands", false);
  show("final", done);
  if (done) {
    drawFinal(panel.rows);
    fileLinks($("final-files"), files);
    drawShots(files);
  } else {
    fileLinks($("start-files"), files);
    show("shots", false);
  }
  show("start", !done && !panel.recorded && may.includes("run"));
  show("webcam-box", may.includes("webcam"));
  const next = [], todo = [], stale = panel.verdict === "out of date";
  show("next-bar", Boolean(at && at.running));
  $("next-error").textContent = at && !at.running ? at.fault : "";
  if (!done && panel.reason) next.push(panel.reason);
  if (panel.scale === false && panel.pictures) {
    next.push(`This ${panel.kind === "part" ? "part" : "panel"} has no scale yet: tap its corners on the first picture.`);
    if (may.includes("scale")) todo.push(button("Tap the corners", `/corners/${id}`, true));
  } else if (panel.scale === false && panel.recorded && !panel.ready) {
    next.push(`What was recorded has no scale yet. On the computer, wetline corners ${panel.id} helps to read it off.`);
  } else if (at && at.running) {
    $("next-bar").value = at.share;
    next.push("Working out the result ...");
    if (may.includes("run")) todo.push(press("Stop", "/stop"));
  } else if (panel.ready && (!done || stale)) {
    next.push(stale ? "This result is out of date." : panel.pictures ? "Pictures and scale are there." : "What was recorded is there.");
    if (may.includes("run")) todo.push(press(stale ? "Work it out again" : "Work out the result", "/run", true));
    else next.push(`On the computer, wetline run ${panel.id} gives the result.`);
    if (may.includes("run") && !done && panel.pictures) todo.push(button("Go on taking pictures", `/camera/${id}`));
  }
  $("next-text").textContent = next.join(" ");
  const keep = [...$("next-do").children].map((one) => one.textContent).join() === todo.map((one) => one.textContent).join();
  if (!keep) $("next-do").replaceChildren(...todo); // a button stays under the finger while the share grows
  show("next", next.length > 0);
  drawScale();
}

// -- what gives a recorded panel or part its scale, and the way to tap it anew
function drawScale() {
  const again = panel.tap_again && may.includes("scale") && !(panel.run && panel.run.running);
  $("scale-text").textContent = `Scale: ${panel.scale_words}.`;
  $("tap-again").textContent = /corners/.test(panel.scale_words) ? "Tap the corners again" : "Tap the corners instead";
  show("tap-again", Boolean(again));
  show("scale", Boolean(panel.scale_words));
}

function press(text, path, main = false) {
  const made = element("button", text, main ? "main big" : "stop");
  made.addEventListener("click", async () => {
    made.disabled = true;
    try {
      await call(api(path), {});
      stillShown = "";
      panel = await call(api());
      drawStill();
    } catch (error) {
      $("next-error").textContent = error.message;
    }
    made.disabled = false;
  });
  return made;
}

function drawFinal(final) {
  const rows = [];
  for (const row of final) {
    if (row.label) rows.push(element("dt", row.label), element("dd", row.text, row.label === "Verdict" ? "verdict" : ""));
    else rows.push(element("dd", row.text, "whole"));
    for (const line of row.more) rows.push(element("dt"), element("dd", line));
  }
  $("final-text").replaceChildren(...rows);
}

async function drawPictures() {
  if (pictureVersion === board.frames && !board.ended) return;
  pictureVersion = board.frames;
  const narrow = window.innerWidth < 700 ? 1 : 0;
  const fresh = Date.now();
  const swap = (name, path) => {
    const image = new Image();
    image.onload = () => { $(name).src = image.src; };
    image.src = path;
  };
  show("picture-box", board.frames > 0);
  if (board.frames) swap("picture", api(`/picture?narrow=${narrow}&v=${fresh}`));
  swap("chart", api(`/chart?narrow=${narrow}&v=${fresh}`));
  $("chart").alt = board.chart_text;
  $("chart-text").textContent = board.chart_text;
}

async function follow() {
  let seen = -1, failed = 0, filesShown = false;
  for (;;) {
    try {
      const next = await call(api(`/board?seen=${seen}&wait=15`));
      failed = 0;
      $("error").textContent = "";
      show("board", next.watched);
      if (next.watched) {
        for (const name of ["start", "next", "scale"]) show(name, false);
      } else {
        board = null;
        panel = await call(api());
        drawStill();
        await new Promise((go) => setTimeout(go, 2000));
        continue;
      }
      skew = next.now_ms - Date.now();
      board = next;
      seen = next.version;
      draw();
      drawPictures();
      if (board.ended && !filesShown) {
        filesShown = true;
        const { files } = await call(api());
        fileLinks($("final-files"), files);
        drawShots(files);
      }
      if (!board.ended) {
        filesShown = false;
        show("shots", false);
      }
    } catch (error) {
      failed += 1;
      $("error").textContent = error.message;
      await new Promise((go) => setTimeout(go, Math.min(1000 * failed, 5000)));
    }
  }
}

// -- what people do
function said(text) {
  $("said").textContent = text;
  clearTimeout(saidTimer);
  saidTimer = setTimeout(() => { $("said").textContent = ""; }, 6000);
}
// A stamp pressed while the network is away is kept with its time and sent later.
async function stamp(kind, text = "", name = "") {
  const pressed = Date.now();
  for (;;) {
    try {
      const age_s = (Date.now() - pressed) / 1000;
      const told = await (kind === "note" ? call(api("/note"), { text, age_s }) : call(api("/stamp"), { kind, name, age_s }));
      $("error").textContent = "";
      said(told.said || `Noted: ${text || kind}`);
      return;
    } catch (error) {
      $("error").textContent = error.message;
      if (!error.message.includes("cannot be reached")) return;
      said(`Kept, sent when the computer is back: ${[name, text || kind].filter(Boolean).join(": ")}`);
      await new Promise((go) => setTimeout(go, 2000));
    }
  }
}
$("open").addEventListener("click", async () => {
  if (board.stamped && !(await sure("Resin open was stamped before. Stamp it again with the time of now?"))) return;
  stamp("resin open");
});
$("clamp").addEventListener("click", async () => {
  if (board.clamped && !(await sure("The clamp was stamped before. Stamp it again?"))) return;
  stamp("clamp");
});
$("end").addEventListener("click", async () => {
  if (await sure("End this run and work out the final result?")) call(api("/end"), {}).catch((error) => { $("error").textContent = error.message; });
});
$("note").addEventListener("click", () => $("notes").showModal());
$("notes-close").addEventListener("click", () => $("notes").close());
for (const button of $("phrases").children) {
  button.addEventListener("click", () => { $("notes").close(); stamp("note", button.textContent); });
}
$("own").addEventListener("submit", (event) => {
  event.preventDefault();
  const words = $("words").value.trim();
  if (!words) return;
  $("words").value = "";
  $("notes").close();
  stamp("note", words);
});
$("photo").addEventListener("change", async () => {
  const file = $("photo").files[0];
  $("notes").close();
  if (!file) return;
  try {
    const answer = await fetch(api("/photo"), { method: "POST", body: file });
    const values = await answer.json();
    if (!answer.ok) throw new Error(values.error);
    said("Photo saved");
  } catch (error) {
    $("error").textContent = error.message;
  }
  $("photo").value = "";
});
$("gauge").addEventListener("submit", async (event) => {
  event.preventDefault();
  try {
    await call(api("/gauge"), { bag_mbar: Number($("mbar").value.replace(",", ".")) });
    $("mbar").value = "";
    said("Gauge reading noted");
  } catch (error) {
    $("error").textContent = error.message;
  }
});
const start = (camera) => async () => {
  try {
    await call(api("/start"), { camera: camera(), interval_s: 10 });
  } catch (error) {
    $("start-error").textContent = error.message;
  }
};
$("use-webcam").addEventListener("click", start(() => String(Number($("webcam").value))));
$("use-paired").addEventListener("click", start(() => "phone"));
$("to-day").href = `/day/${id}`;
$("use-phone").href = `/camera/${id}`;
$("to-camera").href = `/camera/${id}`;
for (const name of ["to-corners", "tap-again"]) $(name).href = `/corners/${id}`;
setInterval(drawClocks, 500);
follow();
