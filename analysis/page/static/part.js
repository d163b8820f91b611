// What a part's board has beside a panel's: later feeds, vents, shut-in air, what the plan learns.
import { $, clock, element, show } from "./common.js";

const percent = (share, digits = 0) => (100 * share).toFixed(digits);
let drawn = "";

export const CAPTION = "Dashed: where the plan has the front now. Solid: where it is seen. Dotted and hatched: not seen, filled in from around.";

export function partNumbers(board, set) {
  if (board.wet_share === null) set("front", "-", "%", board.cannot || (board.state === "running" ? "nothing seen to be wet yet" : board.state));
  else {
    const sd = board.wet_sd === null ? "" : `\u00b1 ${percent(2 * board.wet_sd, 1)}`;
    const resin = board.resin_in_kg === null ? "" : `about ${board.resin_in_kg.toFixed(2)} kg of resin in it`;
    set("front", percent(board.wet_share), "%", [sd, resin].filter(Boolean).join("; "));
  }
  if (board.unseen_share === null) set("speed", "-", "", "");
  else set("speed", percent(board.unseen_share), "%", board.unseen_share > 0.005 ? "of the part: hatched in the picture" : "all of the part is in view");
}

function entry(done, words, act, back) {
  const row = element("div", "", "entry");
  if (done) {
    row.append(element("strong", `\u2713 ${done}`));
    if (back) {
      const undo = element("button", "Take back", "small");
      undo.setAttribute("aria-label", `Take back: ${done}`);
      undo.addEventListener("click", back);
      row.append(undo);
    }
  } else {
    if (act) row.append(act);
    if (words) row.append(element("p", words));
  }
  return row;
}

function feedEntry(feed, may, hands) {
  const due = feed.state === "open it" || feed.state === "seems open";
  const button = element("button", `${feed.name} is open`, due ? "main big wide" : "wide");
  button.addEventListener("click", async () => {
    if (!due && !(await hands.sure(`${feed.text || feed.name}. Note it as open all the same?`))) return;
    hands.stamp("feed open", "", feed.name);
  });
  return entry(feed.opened && `${feed.name} is open`, feed.text, may && button, may && (() => hands.stamp("feed not open", "", feed.name)));
}

function ventEntry(vent, last, may, hands) {
  const button = element("button", `${vent.name} is clamped`, "wide");
  button.addEventListener("click", async () => {
    if (last && !(await hands.sure(`${vent.name} is the last open vent: no air can leave after that. Is it clamped?`))) return;
    hands.stamp("vent clamped", "", vent.name);
  });
  return entry(vent.shut && `${vent.name} is clamped`, "", may && button, may && (() => hands.stamp("vent not clamped", "", vent.name)));
}

const lines = (texts) => texts.map((text) => element("li", text));

export function drawPart(board, may, hands) {
  const run = may.includes("run") && !board.ended;
  const text = JSON.stringify([board.feeds, board.vents, board.air, board.not_seen, board.values, board.learning, board.forecast, board.doubts, board.state, run]);
  if (text === drawn) return;
  drawn = text;
  show("feeds", board.feeds.length > 0 && !board.ended);
  $("feed-list").replaceChildren(...board.feeds.map((feed) => feedEntry(feed, run, hands)));
  const open = board.vents.filter((vent) => !vent.shut).length;
  show("vents", board.vents.length > 0 && !board.ended);
  $("vent-list").replaceChildren(...board.vents.map((vent) => ventEntry(vent, open === 1, run, hands)));
  show("air", !board.ended);
  const none = board.wet_share === null ? "Nothing can be said of it yet." : "No dry area is about to be cut off from every vent, by the forecast.";
  const hidden = board.not_seen ? [`Not seen: ${board.not_seen}`] : [];
  $("air-list").replaceChildren(...lines([...(board.air.length ? board.air : [none]), ...hidden]));
  show("plan", !board.ended);
  $("plan-forecast").textContent = `The forecast is ${board.forecast}.`;
  const learning = board.learning ? [`Not corrected now: ${board.learning}`] : [];
  $("plan-list").replaceChildren(...lines([...board.values, ...learning, ...board.doubts.map((doubt) => `In doubt: ${doubt}`)]));
}

export function gaugeText(board) {
  if (board.gauge === null) return "No reading yet: type one every few minutes, and after each feed.";
  return `${board.gauge.bag_mbar.toFixed(1)} mbar in the bag, noted ${clock(board.gauge.ago_s)} before this line came.`;
}
