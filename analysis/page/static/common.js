// Shared by the pages. No page loads anything from outside this server.
export const $ = (id) => document.getElementById(id);
export const panelId = () => decodeURIComponent(location.pathname.split("/")[2] || "");
export const api = (rest = "") => `/api/panels/${encodeURIComponent(panelId())}${rest}`;

export async function call(path, body) {
  const options = body === undefined ? {} : {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
  };
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    throw new Error("The computer cannot be reached. Is it on, and on the same network?");
  }
  if (answer.status === 401) {
    location.href = "/pair";
    throw new Error("Pair this device first.");
  }
  const values = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(values.error || `The computer answered ${answer.status}.`);
  return values;
}

export function clock(seconds) {
  if (seconds === null || seconds === undefined || !isFinite(seconds)) return "-";
  const sign = seconds < 0 ? "-" : "";
  const whole = Math.floor(Math.abs(seconds));
  const two = (n) => String(n).padStart(2, "0");
  const h = Math.floor(whole / 3600), m = Math.floor((whole % 3600) / 60), s = whole % 60;
  return h ? `${sign}${h}:${two(m)}:${two(s)}` : `${sign}${m}:${two(s)}`;
}

export function element(tag, text = "", name = "") {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (name) made.className = name;
  return made;
}

export function svg(tag, values, text = "") {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [key, value] of Object.entries(values)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  return made;
}

export function ask(path, body, headers = {}) { // a picture: what is answered, or an error in words
  return fetch(path, { method: "POST", body, headers }).then(async (answer) => {
    const values = await answer.json().catch(() => ({}));
    if (!answer.ok) throw new Error(values.error || `The computer answered ${answer.status}.`);
    return values;
  }, () => { throw new Error("The computer cannot be reached. Is it on, and on the same network?"); });
}

export function show(id, yes) {
  $(id).hidden = !yes;
}

// Asks in the dialog `sure` of the page. With `other` the answers change places, so that one finger
// that comes down twice says yes once.
export function sure(text, other = false) {
  $("sure-text").textContent = text;
  $("sure-yes").style.order = other ? 1 : 0;
  $("sure").showModal();
  return new Promise((tell) => {
    const close = (yes) => () => { $("sure").close(); tell(yes); };
    $("sure-yes").onclick = close(true);
    $("sure-no").onclick = close(false);
    $("sure").oncancel = () => tell(false);
  });
}

export function fileLinks(place, files) {
  place.replaceChildren();
  const id = encodeURIComponent(panelId());
  const words = {
    "part_record.html": "Record", "part_record.pdf": "Record to print", "part_run.html": "Planned and seen", "part.html": "The plan",
    "part_lines.jpg": "Front lines", "part_late.png": "Early and late", "part_resin_seen.png": "Resin taken in", "part_front.csv": "Table", "part_run.json": "All numbers",
    "report.html": "Report", "report.pdf": "Report to print", "front_lines.jpg": "Front lines",
    "front_lines.png": "Lines as asked for", "plan_view.png": "From above", "front_lines.mp4": "Time-lapse",
    "curve.png": "Curve", "levers.png": "What to change", "first_frame.png": "First photo",
    "front.csv": "Table", "results.json": "All numbers", "forecast.json": "Forecast numbers",
    "resin.json": "Resin numbers", "record.json": "Seal of the record", "scale_sheet.pdf": "Scale cards",
  };
  const order = Object.keys(words), rank = (name) => (order.indexOf(name) + 1 || order.length + 1);
  for (const name of [...(files || [])].sort((a, b) => rank(a) - rank(b))) {
    const link = element("a", words[name] || name, name === "report.html" || name === "part_run.html" ? "button main" : "button");
    link.href = `/results/${id}/${encodeURIComponent(name)}`;
    place.append(link);
  }
}
