// A part of a photograph on the screen: a coarse picture of the whole for every zoom, and over it the part that is seen, from the
// photograph's own pixels. Positions are pixels of the upright photograph; the middle of the first pixel is 0, 0.

const WHOLE_PX = 1600;
const GRID_PX = 64;
const HELD = 48;
const SVG = "http://www.w3.org/2000/svg";

const pictures = new Map();

// A picture on its way or here; asked for once, and the newest ones stay.
export function picture(url) {
  const known = pictures.get(url);
  if (known) {
    pictures.delete(url);
    pictures.set(url, known);
    return known;
  }
  const image = new Image();
  image.alt = "";
  image.src = url;
  const entry = { image, ready: false, failed: false };
  entry.done = image.decode().then(
    () => { entry.ready = true; },
    () => { entry.failed = true; pictures.delete(url); },
  );
  pictures.set(url, entry);
  while (pictures.size > HELD) pictures.delete(pictures.keys().next().value);
  return entry;
}

export function partUrl(shot, part) {
  return `/part/${shot.sha256}/${part.left},${part.top},${part.wide},${part.high}/${part.shrink}.jpg`;
}

export function wholePart(shot, widest = WHOLE_PX) {
  const shrink = Math.max(1, Math.ceil(Math.max(shot.wide_px, shot.high_px) / widest));
  return { left: 0, top: 0, wide: shot.wide_px, high: shot.high_px, shrink };
}

// What of a shot is seen in a window of `wide` x `high` screen pixels round (x, y) at `zoom` screen pixels a pixel, a little more.
export function seenPart(shot, view, wide, high) {
  const dense = view.zoom * (window.devicePixelRatio || 1);
  const shrink = Math.max(1, Math.floor(1 / dense));
  const grid = GRID_PX * shrink;
  const least = (middle, size) => Math.floor((middle - (0.6 * size) / view.zoom) / grid) * grid;
  const most = (middle, size) => Math.ceil((middle + (0.6 * size) / view.zoom) / grid) * grid;
  const left = Math.max(0, least(view.x, wide));
  const top = Math.max(0, least(view.y, high));
  const right = Math.min(shot.wide_px, most(view.x, wide));
  const bottom = Math.min(shot.high_px, most(view.y, high));
  return { left, top, wide: Math.max(1, right - left), high: Math.max(1, bottom - top), shrink };
}

export class Stage {
  // `moved(view)`, `drew(shot, from, to, round)` and `stopped()` are set by whoever uses it.
  constructor(box) {
    this.box = box;
    this.moved = this.drew = this.stopped = () => {};
    this.shot = null;
    this.view = { x: 0, y: 0, zoom: 1 };
    this.layers = [];
    this.drawing = null;
    this.marks = document.createElementNS(SVG, "svg");
    this.marks.setAttribute("aria-hidden", "true");
    this.said = document.createElement("p");
    this.said.className = "said";
    this.said.hidden = true;
    box.append(this.marks, this.said);
    this.ring = null;
    box.addEventListener("pointerdown", (event) => this.press(event));
    box.addEventListener("pointermove", (event) => this.drag(event));
    box.addEventListener("pointerup", (event) => this.release(event));
    box.addEventListener("pointercancel", (event) => { this.held = null; this.fingers.delete(event.pointerId); });
    this.fingers = new Map();
    box.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    box.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => this.shot && this.resized()).observe(box);
  }

  // `view`: { x, y, zoom }, or null for all of it; `ring`: { x, y, radius } in photograph pixels, or null. Gives a promise of the
  // moment when the sharp picture is on the screen: whether it came.
  show(shot, view, ring) {
    this.shot = shot;
    this.home = view;
    this.view = { ...(view ?? this.wholeView(shot)) };
    this.moves = false;
    this.ring = ring;
    return this.draw();
  }

  atHome() {
    const home = this.home ?? this.wholeView(this.shot);
    return ["x", "y", "zoom"].every((name) => Math.abs(this.view[name] - home[name]) < 1e-9);
  }

  // All of a photograph stays all of it when the window changes.
  resized() {
    if (!this.home && !this.moves) this.view = this.wholeView(this.shot);
    this.draw();
  }

  say(sentence) {
    this.said.textContent = sentence;
    this.said.hidden = !sentence;
  }

  // The zoom at which the whole shot fits.
  fitting(shot) {
    return Math.min(this.box.clientWidth / shot.wide_px, this.box.clientHeight / shot.high_px);
  }

  wholeView(shot) {
    return { x: (shot.wide_px - 1) / 2, y: (shot.high_px - 1) / 2, zoom: this.fitting(shot) };
  }

  zoomBy(factor) {
    this.moves = true;
    const least = this.fitting(this.shot) * 0.8;
    this.view.zoom = Math.min(64, Math.max(least, this.view.zoom * factor));
    this.draw();
    this.moved(this.view);
  }

  panBy(dx, dy) {
    this.moves = true;
    this.view.x = Math.min(this.shot.wide_px, Math.max(0, this.view.x + dx / this.view.zoom));
    this.view.y = Math.min(this.shot.high_px, Math.max(0, this.view.y + dy / this.view.zoom));
    this.draw();
  }

  goHome() {
    this.moves = false;
    this.view = { ...(this.home ?? this.wholeView(this.shot)) };
    this.draw();
    this.moved(this.view);
  }

  async draw() {
    const whole = wholePart(this.shot);
    const seen = seenPart(this.shot, this.view, this.box.clientWidth, this.box.clientHeight);
    const parts = seen.shrink < whole.shrink ? [whole, seen] : [whole];
    const shot = this.shot;
    const wanted = parts.map((part) => ({ part, entry: picture(partUrl(shot, part)) }));
    this.wanted = wanted;
    this.place(wanted);
    await Promise.all(wanted.map(({ entry }) => entry.done));
    if (this.wanted === wanted) this.place(wanted);
    return wanted.every(({ entry }) => entry.ready);
  }

  // Puts on the screen what is here already; what was there of the same shot stays until the sharp part has come.
  place(wanted) {
    const here = wanted.filter(({ entry }) => entry.ready);
    const old = here.length < wanted.length ? this.layers.filter((layer) => layer.shot === this.shot) : [];
    const fresh = here.map(({ part, entry }) => ({ shot: this.shot, part, image: entry.image }));
    const layers = [...old.filter((layer) => !fresh.some((each) => each.image === layer.image)), ...fresh];
    layers.sort((a, b) => b.part.shrink - a.part.shrink);
    for (const layer of this.layers) if (!layers.includes(layer)) layer.own?.remove();
    for (const layer of layers) {
      // One picture may be on two stages at once, so each shows a copy; the decoded pixels are shared.
      if (!layer.own) {
        layer.own = layer.image.cloneNode();
        layer.own.decoding = "sync";
      }
      const at = this.onScreen(layer.part.left - 0.5, layer.part.top - 0.5);
      const { zoom } = this.view;
      layer.own.style.transform = `translate(${at.x}px, ${at.y}px)`;
      layer.own.style.width = `${layer.part.wide * zoom}px`;
      layer.own.style.height = `${layer.part.high * zoom}px`;
      this.box.insertBefore(layer.own, this.marks);
    }
    this.layers = layers;
    this.mark();
  }

  onScreen(x, y) {
    const { zoom } = this.view;
    return {
      x: (x - this.view.x) * zoom + this.box.clientWidth / 2,
      y: (y - this.view.y) * zoom + this.box.clientHeight / 2,
    };
  }

  inShot(event) {
    const frame = this.box.getBoundingClientRect();
    return {
      x: (event.clientX - frame.left - this.box.clientLeft - this.box.clientWidth / 2) / this.view.zoom + this.view.x,
      y: (event.clientY - frame.top - this.box.clientTop - this.box.clientHeight / 2) / this.view.zoom + this.view.y,
    };
  }

  mark() {
    this.marks.replaceChildren();
    if (this.ring) {
      const radius = Math.max(18, this.ring.radius * this.view.zoom);
      this.circle(this.onScreen(this.ring.x, this.ring.y), radius, "ringed");
    }
    if (this.drawing) this.markDrawing();
  }

  markDrawing() {
    const { from, to, round } = this.drawing;
    const cross = this.onScreen(to.x, to.y);
    this.line({ x: cross.x - 14, y: cross.y }, { x: cross.x + 14, y: cross.y });
    this.line({ x: cross.x, y: cross.y - 14 }, { x: cross.x, y: cross.y + 14 });
    if (!from) return;
    const start = this.onScreen(from.x, from.y);
    if (round) this.circle(start, Math.hypot(cross.x - start.x, cross.y - start.y), "");
    else this.line(start, cross);
  }

  circle(at, radius, name) {
    for (const under of ["under", "over"]) {
      const circle = document.createElementNS(SVG, "circle");
      circle.setAttribute("cx", at.x);
      circle.setAttribute("cy", at.y);
      circle.setAttribute("r", radius);
      circle.setAttribute("class", `${under} ${name}`);
      this.marks.append(circle);
    }
  }

  line(from, to) {
    for (const under of ["under", "over"]) {
      const line = document.createElementNS(SVG, "line");
      for (const [name, value] of [["x1", from.x], ["y1", from.y], ["x2", to.x], ["y2", to.y]]) line.setAttribute(name, value);
      line.setAttribute("class", under);
      this.marks.append(line);
    }
  }

  // Drawing: two points, by press and release, by two clicks, or by keys. `round`: middle and rim of a ring, else the ends of a body.
  startDrawing(round = false) {
    this.drawing = { round, from: null, to: { x: this.view.x, y: this.view.y } };
    this.box.classList.add("drawing");
    this.box.focus();
    this.mark();
  }

  stopDrawing() {
    this.drawing = null;
    this.box.classList.remove("drawing");
    if (this.shot) this.mark();
  }

  setPoint(point) {
    const { drawing } = this;
    drawing.to = this.within(point);
    if (!drawing.from) {
      drawing.from = drawing.to;
      this.mark();
      return;
    }
    const { from, to, round } = drawing;
    this.stopDrawing();
    this.drew(this.shot, from, to, round);
  }

  within(point) {
    return {
      x: Math.min(this.shot.wide_px - 1, Math.max(0, point.x)),
      y: Math.min(this.shot.high_px - 1, Math.max(0, point.y)),
    };
  }

  press(event) {
    if (!this.shot || event.button !== 0) return;
    this.box.setPointerCapture(event.pointerId);
    this.fingers.set(event.pointerId, event);
    if (this.fingers.size > 1) {
      this.held = null;
      return;
    }
    this.held = { x: event.clientX, y: event.clientY, id: event.pointerId, moved: false };
    if (this.drawing) {
      this.held.second = Boolean(this.drawing.from);
      if (!this.held.second) this.setPoint(this.inShot(event));
      event.preventDefault();
    }
  }

  // Two fingers enlarge by as much as they part.
  pinch(event) {
    const [one, other] = this.fingers.values();
    const apart = Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
    this.fingers.set(event.pointerId, event);
    const [first, second] = this.fingers.values();
    if (apart > 0) this.zoomBy(Math.hypot(first.clientX - second.clientX, first.clientY - second.clientY) / apart);
  }

  drag(event) {
    if (this.fingers.size === 2 && this.fingers.has(event.pointerId)) {
      this.pinch(event);
      return;
    }
    const { held } = this;
    if (this.drawing) {
      if (held || this.drawing.from) {
        this.drawing.to = this.within(this.inShot(event));
        this.mark();
      }
      if (held && Math.hypot(event.clientX - held.x, event.clientY - held.y) > 4) held.moved = true;
      return;
    }
    if (!held || held.id !== event.pointerId) return;
    this.panBy(held.x - event.clientX, held.y - event.clientY);
    held.x = event.clientX;
    held.y = event.clientY;
  }

  release(event) {
    this.fingers.delete(event.pointerId);
    const { held } = this;
    this.held = null;
    if (held && this.drawing && (held.moved || held.second)) this.setPoint(this.inShot(event));
  }

  wheel(event) {
    if (!this.shot) return;
    event.preventDefault();
    this.zoomBy(event.deltaY < 0 ? 1.25 : 0.8);
  }

  key(event) {
    if (!this.drawing) return;
    const step = (event.shiftKey ? 12 : 2) / this.view.zoom;
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const move = moves[event.key];
    if (move) {
      this.drawing.to = this.within({ x: this.drawing.to.x + move[0] * step, y: this.drawing.to.y + move[1] * step });
      this.mark();
    } else if (event.key === "Enter" || event.key === " ") {
      this.setPoint(this.drawing.to);
    } else if (event.key === "Escape") {
      this.stopDrawing();
      this.stopped();
    } else {
      return;
    }
    event.preventDefault();
    event.stopPropagation();
  }
}
