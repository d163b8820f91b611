// A panel or part from above: front lines behind, marks on it, and a cross to place the next with.
// What is drawn has y down from its upper left corner; marks are as on the plan.
import { svg } from "./common.js";

export class Plan {
  constructor(place, moved) {
    [this.place, this.moved, this.cross, this.marks, this.plan] = [place, moved, null, [], null];
    this.drawing = svg("svg", { "aria-hidden": "true" });
    place.append(this.drawing);
    place.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      place.focus({ preventScroll: true });
      place.setPointerCapture(event.pointerId);
      this.set(event);
    });
    place.addEventListener("pointermove", (event) => { if (event.buttons) this.set(event); });
    place.addEventListener("keydown", (event) => this.key(event));
    addEventListener("resize", () => this.draw());
  }
  show(plan) {
    this.plan = plan;
    this.draw();
  }
  set(event) {
    if (!this.plan) return;
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.drawing.getScreenCTM().inverse());
    this.put(point.x, point.y);
  }
  put(x, y) {
    const held = (value, most) => Math.round(Math.min(Math.max(value, 0), most));
    this.cross = [held(x, this.plan.length_mm), held(y, this.plan.width_mm)];
    this.draw();
    this.moved(this.named);
  }
  get named() { // the cross as the plan calls its place
    const [x, y] = this.cross, { corner_mm: [left, top] = [0, 0], y_runs } = this.plan;
    const rounded = (value) => Math.round(value * 10) / 10;
    return [rounded(left + x), rounded(y_runs === "up" ? top - y : top + y)];
  }
  drawn(x, y) {
    const { corner_mm: [left, top] = [0, 0], y_runs } = this.plan;
    return [x - left, y_runs === "up" ? top - y : y - top];
  }
  ground() {
    const { length_mm: w, width_mm: h, flow, rings, feeds } = this.plan;
    if (!rings) {
      const parts = [svg("rect", { x: 0, y: 0, width: w, height: h, class: "panel" })];
      if (flow === "edge") parts.push(svg("line", { x1: 0, y1: 0, x2: 0, y2: h, class: "feed" }));
      return parts;
    }
    const path = rings.map((ring) => `M${ring.map((at) => at.join(" ")).join("L")}Z`).join("");
    const lines = feeds.map(({ points }) => svg("polyline", { points: points.map((at) => at.join(",")).join(" "), class: "feed", "stroke-linecap": "round" }));
    return [svg("path", { d: path, class: "panel", "fill-rule": "evenodd" }), ...lines];
  }
  key(event) {
    const step = event.shiftKey ? 10 : 1;
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (!move || !this.plan) return;
    event.preventDefault();
    const [x, y] = this.cross || [this.plan.length_mm / 2, this.plan.width_mm / 2];
    this.put(x + move[0], y + move[1]);
  }
  draw() {
    if (!this.plan) return;
    const { length_mm: w, width_mm: h, lines } = this.plan, rim = 0.03 * w;
    this.drawing.setAttribute("viewBox", `${-rim} ${-rim} ${w + 2 * rim} ${h + 2 * rim}`);
    const u = (w + 2 * rim) / (this.drawing.clientWidth || 360); // mm in one pixel of the screen
    this.drawing.style.setProperty("--u", u);
    const parts = this.ground();
    for (const line of lines) {
      parts.push(svg("polyline", { points: line.points.map((p) => p.join(",")).join(" "), class: `front${line.seen ? "" : " unseen"}${line.dry ? " dry" : ""}` }));
    }
    const taken = [];
    lines.filter((line) => line.label).forEach((line, k) => {
      const [x, y] = line.dry ? line.points[0] : line.points[Math.floor(line.points.length * (k % 2 ? 0.75 : 0.25))];
      const anchor = x > 0.85 * w ? "end" : x < 0.1 * w ? "start" : "middle";
      const left = anchor === "middle" ? x - 30 * u : anchor === "end" ? x - 60 * u : x;
      if (taken.some(([l, t]) => Math.abs(l - left) < 60 * u && Math.abs(t - y) < 18 * u)) return;
      taken.push([left, y]);
      parts.push(svg("text", { x, y: Math.max(y, 14 * u), class: "time", "text-anchor": anchor }, line.label));
    });
    this.marks.forEach((mark, k) => {
      const [x, y] = this.drawn(mark.x_mm, mark.y_mm);
      parts.push(svg("circle", { cx: x, cy: y, r: 13 * u, class: "mark" }));
      parts.push(svg("text", { x, y: y + 6 * u, class: "number", "text-anchor": "middle" }, String(k + 1)));
    });
    if (this.cross) {
      const [x, y] = this.cross;
      for (const name of ["rim", "edge"]) {
        parts.push(svg("path", { d: `M${x} ${-rim}V${h + rim}M${-rim} ${y}H${w + rim}`, class: name }));
      }
    }
    this.drawing.replaceChildren(...parts);
  }
}
