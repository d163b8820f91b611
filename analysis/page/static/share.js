import { $, call, element, show } from "./common.js";

let known = null, until = 0, drawn = "";

function option(value, text) {
  const made = element("option", text);
  made.value = value;
  return made;
}
function box(right, text, on, fixed) {
  const label = element("label", "", "tick");
  const input = element("input");
  input.type = "checkbox";
  input.value = right;
  input.checked = on || right === "pictures";
  input.disabled = fixed || right === "pictures";
  label.append(input, element("span", text));
  return label;
}
const ticked = (place) => [...place.querySelectorAll("input[type=checkbox]")].filter((i) => i.checked).map((i) => i.value);
function panelChoice(select, chosen) {
  select.replaceChildren(...known.panels.map((name) => option(name, name)));
  if (known.all_panels && known.panels.length !== 1) select.append(option("", "all panels"));
  select.value = chosen === null ? "" : chosen;
  if (!select.value && select.options.length && chosen !== null) select.selectedIndex = 0;
}
async function act(work) {
  $("error").textContent = "";
  try {
    await work();
  } catch (error) {
    $("error").textContent = error.message;
    $("error").scrollIntoView({ block: "nearest" });
  }
}
function quiet(seconds) {
  if (seconds < 60) return "heard just now";
  return seconds < 5400 ? `last heard ${Math.round(seconds / 60)} min ago` : `last heard ${Math.round(seconds / 3600)} h ago`;
}

function card(device) {
  const item = element("li");
  const may = Object.entries(known.rights).filter(([right]) => device.rights.includes(right)).map(([, text]) => text);
  item.append(element("strong", device.name + (device.mine ? " (this one)" : "")));
  item.append(element("p", `${device.panel === null ? "All panels" : device.panel}: ${may.join("; ").toLowerCase()}. From ${device.address}, ${quiet(device.quiet_s)}.`, "soft"));
  if (device.mine || !device.yours) return item;
  const row = element("div", "", "row");
  const forget = element("button", "Forget", "stop"), change = element("button", "Change");
  forget.setAttribute("aria-label", `Forget ${device.name}`);
  change.setAttribute("aria-label", `Change what ${device.name} may do`);
  row.append(change, forget);
  item.append(row);
  forget.addEventListener("click", () => act(async () => {
    await call("/api/devices/forget", { key: device.key });
    await load();
  }));
  change.addEventListener("click", () => {
    const form = element("form"), select = element("select");
    select.setAttribute("aria-label", "For");
    panelChoice(select, device.panel);
    form.append(select, ...Object.entries(known.rights).map(([right, text]) => box(right, text, device.rights.includes(right))), element("button", "Save", "main"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      act(async () => {
        await call("/api/devices/change", { key: device.key, panel: select.value, rights: ticked(form) });
        drawn = "";
        form.remove();
        await load();
      });
    });
    row.replaceWith(form);
  });
  return item;
}

function drawForm() {
  panelChoice($("panel"), $("panel").value || known.panels[0] || null);
  if ($("rights").querySelector("input")) return;
  $("rights").append(...Object.entries(known.rights).map(([right, text]) => box(right, text, false)));
}
async function load() {
  known = await call("/api/devices");
  show("invite", known.shared);
  const text = JSON.stringify([known.devices.map((d) => [d.key, d.name, d.rights, d.panel]), known.locked]);
  if (text !== drawn && !document.querySelector(".devices form")) {
    drawn = text;
    drawForm();
    $("devices").replaceChildren(...(known.devices.length ? known.devices.map(card) : [element("li", known.shared ? "None yet." : "The page is not shared: start it with --share.")]));
    show("locked-box", known.locked.length > 0);
    $("locked").replaceChildren(...known.locked.map((address) => {
      const item = element("li", "", "row"), button = element("button", "Let it try again");
      button.addEventListener("click", () => act(async () => { await call("/api/devices/pardon", { address }); await load(); }));
      item.append(element("strong", address), button);
      return item;
    }));
  }
  $("events").replaceChildren(...(known.events.length ? known.events : ["Nothing yet."]).map((line) => element("li", line)));
}
$("invite").addEventListener("submit", (event) => {
  event.preventDefault();
  act(async () => {
    const made = await call("/api/invite", { name: $("name").value, panel: $("panel").value, rights: ticked($("rights")) });
    $("qr").src = URL.createObjectURL(new Blob([made.svg], { type: "image/svg+xml" }));
    $("address").textContent = made.address;
    $("code").textContent = made.code;
    until = Date.now() + made.seconds * 1000;
    show("made", true);
    $("made").scrollIntoView({ block: "nearest" });
  });
});
function count() {
  const left = Math.ceil((until - Date.now()) / 60000);
  $("left").textContent = left > 0 ? `Good for one phone, ${left} min more.` : "This code has expired: make a new one.";
}
act(load);
setInterval(() => load().catch((error) => { $("error").textContent = error.message; }), 4000);
setInterval(count, 1000);
