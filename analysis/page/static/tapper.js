// Points tapped on a picture, with a magnifier: press, slide until the cross is on it, let go.
import { $, show, svg } from "./common.js";

export const PROMPTS = ["corner 1: feed end", "corner 2: vent end, same side", "corner 3: vent end, far side", "corner 4: feed end, far side", "first tape mark", "second tape mark"];
const ZOOM = 4;

// Points by their order; null stands for one that does not show. `fewest` are enough of them.
export class Tapper {
  constructor(changed, wanted = 4) {
    [this.changed, this.wanted, this.points, this.cross] = [changed, wanted, [], null];
    [this.prompts, this.fewest, this.ring] = [PROMPTS, null, 4];
    [this.image, this.tap, this.loupe] = [$("image"), $("tap"), $("loupe")];
    const tap = this.tap;
    tap.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      tap.focus({ preventScroll: true }); // the picture must stay under the finger
      tap.setPointerCapture(event.pointerId);
      this.aim(this.toPixel(event));
    });
    tap.addEventListener("pointermove", (event) => {
      if (this.cross && event.buttons) this.aim(this.toPixel(event));
    });
    tap.addEventListener("pointerup", (event) => {
      if (!this.cross) return;
      this.set(this.toPixel(event));
      this.aim(null);
    });
    tap.addEventListener("pointercancel", () => this.aim(null));
    tap.addEventListener("keydown", (event) => this.key(event));
    addEventListener("resize", () => this.draw());
  }
  toPixel(event) {
    const box = this.image.getBoundingClientRect(), { naturalWidth: w, naturalHeight: h } = this.image;
    const x = ((event.clientX - box.left) / box.width) * w - 0.5;
    const y = ((event.clientY - box.top) / box.height) * h - 0.5;
    return [Math.min(Math.max(x, 0), w - 1), Math.min(Math.max(y, 0), h - 1)];
  }
  toScreen([x, y]) {
    const box = this.image.getBoundingClientRect();
    return [box.left + ((x + 0.5) / this.image.naturalWidth) * box.width, box.top + ((y + 0.5) / this.image.naturalHeight) * box.height];
  }
  key(event) {
    const step = event.shiftKey ? 20 : 1;
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    const at = this.cross || [this.image.naturalWidth / 2, this.image.naturalHeight / 2];
    if (move) this.aim([at[0] + move[0], at[1] + move[1]]);
    else if (event.key === "Enter") this.set([...at]);
    else if (event.key === "Backspace") this.back();
    else return;
    event.preventDefault();
  }
  set(point) {
    if (this.points.length < this.wanted) this.points.push(point);
    this.draw();
  }
  back() {
    this.points.pop();
    this.draw();
  }
  clear() {
    this.points = [];
    this.draw();
  }
  pass() {
    this.set(null);
  }
  get tapped() {
    return this.points.filter(Boolean).length;
  }
  prompt() {
    return this.points.length < this.wanted ? `Tap ${this.prompts[this.points.length]}` : "All points set. Save them, or take one back.";
  }
  complete() {
    return this.fewest === null ? this.points.length === this.wanted : this.tapped >= this.fewest;
  }
  // Which way round the corners run in the picture: above 0 is clockwise.
  turning() {
    const c = this.points.slice(0, 4);
    return c.reduce((sum, [x, y], k) => sum + x * c[(k + 1) % c.length][1] - y * c[(k + 1) % c.length][0], 0);
  }
  aim(cross) {
    const loupe = this.loupe;
    this.cross = cross;
    show("loupe", Boolean(cross));
    if (!cross) return;
    const pen = loupe.getContext("2d"), side = loupe.width, part = side / ZOOM;
    pen.imageSmoothingEnabled = false;
    pen.fillStyle = "#000";
    pen.fillRect(0, 0, side, side);
    pen.drawImage(this.image, cross[0] + 0.5 - part / 2, cross[1] + 0.5 - part / 2, part, part, 0, 0, side, side);
    for (const [colour, width] of [["#000", 5], ["#ffe94a", 2]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      pen.moveTo(side / 2, 20); pen.lineTo(side / 2, side / 2 - 6); pen.moveTo(side / 2, side / 2 + 6); pen.lineTo(side / 2, side - 20);
      pen.moveTo(20, side / 2); pen.lineTo(side / 2 - 6, side / 2); pen.moveTo(side / 2 + 6, side / 2); pen.lineTo(side - 20, side / 2);
      pen.stroke();
    }
    const [x, y] = this.toScreen(cross);
    const left = Math.min(Math.max(x - side / 2, 4), innerWidth - side - 14);
    const above = y - side - 50;
    loupe.style.left = `${left}px`;
    loupe.style.top = `${above > 4 ? above : y + 60}px`;
  }
  draw() {
    const w = this.image.naturalWidth, h = this.image.naturalHeight, scale = w / this.image.getBoundingClientRect().width || 1;
    const drawing = $("tapped");
    if (w) drawing.setAttribute("viewBox", `0 0 ${w} ${h}`);
    drawing.style.setProperty("--u", scale);
    drawing.replaceChildren();
    const corners = this.points.slice(0, this.ring), middle = ([x, y]) => `${x + 0.5},${y + 0.5}`;
    if (corners.length > 1) {
      const shape = corners.length === 4 ? "polygon" : "polyline";
      for (const name of ["rim", "edge"]) drawing.append(svg(shape, { points: corners.map(middle).join(" "), class: name }));
    }
    this.points.forEach((point, k) => {
      if (!point) return;
      const [x, y] = point;
      drawing.append(svg("circle", { cx: x + 0.5, cy: y + 0.5, r: 9 * scale }));
      drawing.append(svg("text", { x: x + 14 * scale, y: y - 10 * scale }, String(k + 1)));
    });
    this.changed();
  }
}
