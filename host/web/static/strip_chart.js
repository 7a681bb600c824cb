// A strip chart of our own: bath and sender over the last ten minutes of rig time, two lanes, ink only.

const SPAN_S = 600;
const KEEP_S = SPAN_S + 5;

function niceStep(span, most) {
  const rough = span / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  return [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= rough * 0.999);
}

function withSeparators(number, places) {
  return number.toLocaleString("en", { minimumFractionDigits: places, maximumFractionDigits: places });
}

export class StripChart {
  constructor(canvas) {
    this.canvas = canvas;
    this.fahrenheit = canvas.dataset.scale === "f";
    this.boot = null;
    this.points = []; // [rig time s, probe °C, sender shows °C, sender Ω]
    new ResizeObserver(() => this.draw()).observe(canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  take({ boot, anew, points }) {
    if (anew || boot !== this.boot) this.points = [];
    this.boot = boot;
    if (points.length === 0 && !anew) return;
    this.points.push(...points);
    const newest = this.points.length ? this.points[this.points.length - 1][0] : 0;
    const first = this.points.findIndex((point) => point[0] > newest - KEEP_S);
    if (first > 0) this.points.splice(0, first);
    this.draw();
  }

  draw() {
    const usable = this.points.filter((point) => point.slice(1).some((value) => value !== null));
    this.canvas.classList.toggle("empty", usable.length < 2);
    const { width, height } = this.canvas.getBoundingClientRect();
    if (!width || !height) return;
    const ratio = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    const pen = this.canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const style = getComputedStyle(this.canvas);
    this.ink = Object.fromEntries(
      ["ink", "soft", "faint", "reference"].map((name) => [name, style.getPropertyValue(`--${name}`).trim()]),
    );
    pen.font = `13px ${style.fontFamily}`;
    pen.lineJoin = "round";
    if (usable.length < 2) {
      pen.fillStyle = this.ink.soft;
      pen.fillText("The chart begins with the next usable readings.", 0, 20);
      return;
    }
    const newest = this.points[this.points.length - 1][0];
    const frame = { left: 0, right: width - 58, newest };
    const lower = height - 22;
    const split = Math.round(lower * 0.56);
    const celsius = (value) => (value === null ? null : this.fahrenheit ? value * 1.8 + 32 : value);
    this.lane(pen, frame, { top: 20, bottom: split - 14 }, this.fahrenheit ? "°F" : "°C", 1, [
      { name: "probe", colour: this.ink.reference, wide: 2.2, dash: [], value: (p) => celsius(p[1]) },
      { name: "sender shows", colour: this.ink.ink, wide: 1.3, dash: [5, 3], value: (p) => celsius(p[2]) },
    ]);
    this.lane(pen, frame, { top: split + 20, bottom: lower - 8 }, "Ω", 5, [
      { name: "sender", colour: this.ink.ink, wide: 1.6, dash: [], value: (p) => p[3] },
    ]);
    this.times(pen, frame, lower);
  }

  x(frame, time) {
    return frame.right - ((frame.newest - time) / SPAN_S) * (frame.right - frame.left);
  }

  lane(pen, frame, { top, bottom }, unit, leastSpan, lines) {
    const values = lines.flatMap((line) => this.points.map(line.value)).filter((value) => value !== null);
    let label = frame.left;
    pen.textAlign = "left";
    for (const line of lines) {
      if (line.name !== "sender" && !this.points.some((point) => line.value(point) !== null)) continue;
      pen.strokeStyle = line.colour;
      pen.lineWidth = line.wide;
      pen.setLineDash(line.dash);
      pen.beginPath();
      pen.moveTo(label, top - 10);
      pen.lineTo(label + 18, top - 10);
      pen.stroke();
      pen.setLineDash([]);
      pen.fillStyle = this.ink.ink;
      const text = `${line.name}, ${unit}`;
      pen.fillText(text, label + 24, top - 6);
      label += 40 + pen.measureText(text).width;
    }
    if (values.length === 0) return;
    let low = Math.min(...values);
    let high = Math.max(...values);
    const missing = leastSpan - (high - low);
    if (missing > 0) {
      low -= missing / 2;
      high += missing / 2;
    }
    const room = (high - low) * 0.06;
    low -= room;
    high += room;
    const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
    this.scale(pen, frame, { low, high, y });
    for (const line of lines) this.line(pen, frame, y, line);
  }

  scale(pen, frame, { low, high, y }) {
    const step = niceStep(high - low, 4);
    const places = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    pen.lineWidth = 1;
    pen.strokeStyle = this.ink.faint;
    pen.fillStyle = this.ink.soft;
    for (let count = Math.ceil(low / step); count * step <= high; count += 1) {
      const at = Math.round(y(count * step)) + 0.5;
      pen.globalAlpha = 0.55;
      pen.beginPath();
      pen.moveTo(frame.left, at);
      pen.lineTo(frame.right, at);
      pen.stroke();
      pen.globalAlpha = 1;
      pen.fillText(withSeparators(count * step, places), frame.right + 6, at + 4);
    }
  }

  line(pen, frame, y, { colour, wide, dash, value }) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.setLineDash(dash);
    pen.beginPath();
    let drawing = false;
    let before = null;
    for (const point of this.points) {
      const at = value(point);
      const x = this.x(frame, point[0]);
      // A hole in the readings stays a hole.
      if (at === null || (before !== null && point[0] - before > 15)) drawing = false;
      before = point[0];
      if (at === null || x < frame.left) continue;
      if (drawing) pen.lineTo(x, y(at));
      else pen.moveTo(x, y(at));
      drawing = true;
    }
    pen.stroke();
    pen.setLineDash([]);
  }

  times(pen, frame, at) {
    pen.strokeStyle = this.ink.soft;
    pen.fillStyle = this.ink.soft;
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(frame.left, at + 0.5);
    pen.lineTo(frame.right, at + 0.5);
    pen.stroke();
    for (const minutes of frame.right > 480 ? [10, 8, 6, 4, 2, 0] : [10, 5, 0]) {
      const x = this.x(frame, frame.newest - minutes * 60);
      pen.beginPath();
      pen.moveTo(x, at);
      pen.lineTo(x, at + 4);
      pen.stroke();
      pen.textAlign = minutes === 10 ? "left" : "center";
      pen.fillText(minutes === 0 ? "now" : `-${minutes}${minutes === 10 ? " min" : ""}`, x, at + 18);
    }
    pen.textAlign = "left";
  }
}
