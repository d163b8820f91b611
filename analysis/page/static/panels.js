import { $, call, element } from "./common.js";

const SIGNS = {
  fills: "\u2713", tight: "\u25CF", "gels first": "\u25B2", "unfair test": "\u2260", "cannot decide": "?",
  "as planned so far": "\u2713", uneven: "\u2260", "slower than planned": "\u2260", "quicker than planned": "\u2260",
  "look first": "\u25B2", "out of date": "?", "in doubt": "?", "not measured": "?", "too little seen to compare": "?", "close to the plan so far": "?",
};

function card(panel) {
  const item = element("li", "", "card");
  const name = element("h2", panel.name);
  item.append(name);
  if (panel.state) item.append(element("span", `\u25B6 ${panel.state}`, "badge"));
  if (panel.verdict) item.append(element("span", `${SIGNS[panel.verdict] || ""} ${panel.may_gel_first ? "may gel first: " : ""}${panel.verdict}`, "badge"));
  item.append(element("p", panel.reason || (panel.verdict ? "" : panel.ready && !panel.state ? "No result yet: open it to work it out." : "No result yet."), "soft"));
  const row = element("div", "", "row");
  const id = encodeURIComponent(panel.id);
  const board = element("a", panel.state ? "Board" : "Open", "button main");
  board.href = `/panel/${id}`;
  board.setAttribute("aria-label", `Open ${panel.name}`);
  row.append(board);
  const found = ["report.html", "part_run.html"].find((file) => (panel.files || []).includes(file));
  if (found) {
    const report = element("a", "Report", "button");
    report.href = `/results/${id}/${found}`;
    report.setAttribute("aria-label", `Report of ${panel.name}`);
    row.append(report);
  }
  if (panel.scale === false && panel.pictures && panel.may_scale) {
    const corners = element("a", "Tap the corners", "button");
    corners.href = `/corners/${id}`;
    corners.setAttribute("aria-label", `Tap the corners of ${panel.name}`);
    row.append(corners);
  }
  item.append(row);
  return item;
}

async function load() {
  try {
    const { panels, shared, may_add } = await call("/api/panels");
    $("list").replaceChildren(...panels.map(card));
    $("share").hidden = !shared;
    $("add").hidden = !may_add;
    $("error").textContent = panels.length || may_add ? "" : "No panel folder here.";
  } catch (error) {
    $("error").textContent = error.message;
  }
}
load();
setInterval(load, 10000);
