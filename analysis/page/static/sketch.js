// A part's plan drawn small, as seen from above: which corner to tap next, which are tapped.
import { svg } from "./common.js";

const RIM = 0.09;

export class Sketch {
  constructor(drawing, asked) {
    [this.drawing, this.asked] = [drawing, asked];
    const { length_mm: w, width_mm: h } = asked, rim = RIM * Math.max(w, h);
    this.box = [-rim, -rim, w + 2 * rim, h + 2 * rim];
    drawing.setAttribute("viewBox", this.box.join(" "));
  }
  // Points as tapped so far; null where one was passed over.
  draw(points) {
    const u = Math.max(this.box[2] / (this.drawing.clientWidth || 320), this.box[3] / (this.drawing.clientHeight || 240)), now = points.length;
    this.drawing.style.setProperty("--u", u);
    const path = this.asked.rings.map((ring) => `M${ring.map((at) => at.join(" ")).join("L")}Z`).join("");
    const parts = [svg("path", { d: path, class: "panel", "fill-rule": "evenodd" })];
    for (const feed of this.asked.feeds) parts.push(...this.feed(feed, u));
    this.asked.points.forEach((point, k) => {
      const state = k === now ? "now" : k > now ? "later" : points[k] ? "done" : "passed";
      parts.push(...this.mark(point.mm, k + 1, state, u));
    });
    this.drawing.replaceChildren(...parts);
  }
  feed({ name, points }, u) {
    const [x, y] = points[0], end = points[points.length - 1];
    const line = points.length > 1 ? svg("polyline", { points: points.map((at) => at.join(",")).join(" "), class: "feed" }) : svg("circle", { cx: x, cy: y, r: 6 * u, class: "feed" });
    return [line, svg("text", { x: (x + end[0]) / 2, y: (y + end[1]) / 2 - 8 * u, class: "time", "text-anchor": "middle" }, name)];
  }
  mark([x, y], number, state, u) {
    const r = (state === "now" ? 17 : 12) * u;
    const parts = [svg("circle", { cx: x, cy: y, r, class: `corner ${state}` })];
    parts.push(svg("text", { x, y: y + 5.5 * u, class: "number", "text-anchor": "middle" }, String(number)));
    if (state === "passed") parts.push(svg("path", { d: `M${x - r} ${y - r}L${x + r} ${y + r}M${x + r} ${y - r}L${x - r} ${y + r}`, class: "crossed" }));
    return parts;
  }
}
