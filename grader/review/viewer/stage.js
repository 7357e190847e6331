// A photo that can be brought closer and moved, with outlines over it. Coordinates named *_px are
// pixels of the upright, full-size photo; everything else is CSS pixels of the stage.

// The smallest ring that is drawn about a place, or a pit would vanish under its own line.
const LEAST_RING = 9;

// Width and height of the label of a place.
const TAG = [38, 20];

const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

export class Stage {
  constructor(host, { onPick, onDrawn, onMoved } = {}) {
    this.host = host;
    this.onPick = onPick || (() => {});
    this.onDrawn = onDrawn || (() => {});
    this.onMoved = onMoved || (() => {});
    this.canvas = el("canvas", { "aria-hidden": "true" });
    this.overlay = svg("svg", { class: "overlay", "aria-hidden": "true" });
    host.append(this.canvas, this.overlay);
    this.photo = null;
    this.marks = [];
    this.view = { x: 0, y: 0, k: 1 };
    this.fitted = true;
    this.showMarks = true;
    this.drawing = null;
    this.pointers = new Map();
    this.frame = 0;
    this.painted = () => {};
    this.resizer = new ResizeObserver(() => {
      if (this.fitted) this.fit();
      else this.draw();
    });
    this.resizer.observe(host);
    this._listen();
  }

  close() {
    this.resizer.disconnect();
    cancelAnimationFrame(this.frame);
  }

  show(photo, marks) {
    const isNew = !this.photo || this.photo.screen !== photo.screen;
    this.photo = photo;
    this.marks = marks;
    if (isNew) {
      this.drawing = null;
      this.fit();
    } else this.draw();
  }

  get size() {
    return [this.host.clientWidth, this.host.clientHeight];
  }

  // Show the piece, or the whole photo where nobody knows where the piece is.
  fit() {
    this.fitted = true;
    if (!this.photo) return;
    const [w, h] = photoSize(this.photo);
    if (!w) return this.draw();
    let box = [0, 0, w, h];
    if (this.photo.box_px) {
      const [x, y, bw, bh] = this.photo.box_px;
      const room = 0.08 * Math.max(bw, bh);
      box = [x - room, y - room, bw + 2 * room, bh + 2 * room];
    }
    this._look(box);
  }

  closeTo(box, times = 2.5) {
    const [x, y, w, h] = box;
    const [sw, sh] = this.size;
    let side = Math.max(w, h, 24) * times;
    if (this.fitted) this.whole = Math.min(sw, sh) / this.view.k;
    // A place as large as the piece is brought closer too, if only a little.
    if (this.whole) side = Math.min(side, this.whole / 1.5);
    this.fitted = false;
    this._look([x + w / 2 - side / 2, y + h / 2 - side / 2, side, side]);
  }

  _look([x, y, w, h]) {
    const [sw, sh] = this.size;
    if (!sw || !sh) return;
    const k = Math.min(sw / w, sh / h);
    this.view = { k, x: x + w / 2 - sw / 2 / k, y: y + h / 2 - sh / 2 / k };
    this.draw();
  }

  zoomBy(factor, at = null) {
    const [sw, sh] = this.size;
    const [cx, cy] = at || [sw / 2, sh / 2];
    const { x, y, k } = this.view;
    const [w, h] = this.photo ? photoSize(this.photo) : [0, 0];
    const least = w ? 0.5 * Math.min(sw / w, sh / h) : 0.05;
    // Twelve screen pixels for one of the photo: beyond that there are only squares to see.
    const next = Math.min(12, Math.max(least, k * factor));
    this.view = { k: next, x: x + cx / k - cx / next, y: y + cy / k - cy / next };
    this.fitted = false;
    this.draw();
  }

  moveBy(dx, dy) {
    const [w, h] = this.photo ? photoSize(this.photo) : [0, 0];
    const [sw, sh] = this.size;
    const { k } = this.view;
    // The middle of the stage stays on the photo, so that it cannot be lost.
    const x = Math.min(Math.max(this.view.x - dx / k, -sw / 2 / k), w - sw / 2 / k);
    const y = Math.min(Math.max(this.view.y - dy / k, -sh / 2 / k), h - sh / 2 / k);
    this.view = { k, x, y };
    this.fitted = false;
    this.draw();
  }

  toPhoto([sx, sy]) {
    return [this.view.x + sx / this.view.k, this.view.y + sy / this.view.k];
  }

  draw() {
    if (this.frame) return;
    this.frame = requestAnimationFrame(() => {
      this.frame = 0;
      this._paint();
    });
  }

  _paint() {
    const [sw, sh] = this.size;
    const dense = Math.min(window.devicePixelRatio || 1, 2);
    const [cw, ch] = [Math.round(sw * dense), Math.round(sh * dense)];
    if (this.canvas.width !== cw || this.canvas.height !== ch) {
      this.canvas.width = cw;
      this.canvas.height = ch;
      this.onCanvas = null;
    }
    // As long as all of the piece is in sight, a finger on it scrolls the page.
    this.host.style.touchAction = this.fitted && !this.drawing ? "pan-y" : "none";
    if (this.photo) {
      const { x, y, k } = this.view;
      const preview = previews.get(this.photo.screen);
      const before = photoSize(this.photo)[0];
      const fullWidth = before || 1;
      const wantFull = preview.bitmap && k * dense > (1.15 * preview.bitmap.width) / fullWidth;
      const photo = this.photo;
      const found = atHand(photo, wantFull, () => {
        if (this.photo !== photo) return;
        if (this.fitted && !before) this.fit();
        else this.draw();
      });
      // Scaling the photo is the slow part: not where only an outline has changed.
      const wanted = found && [found.bitmap, x, y, k, cw, ch];
      if (found && this.onCanvas && wanted.every((each, i) => each === this.onCanvas[i])) {
        this._done();
        return;
      }
      this._clear(cw, ch);
      if (found) {
        this.onCanvas = wanted;
        const pen = this.canvas.getContext("2d", { alpha: false });
        const [w, h] = photoSize(photo);
        const left = Math.max(0, x);
        const top = Math.max(0, y);
        const right = Math.min(w, x + sw / k);
        const bottom = Math.min(h, y + sh / k);
        if (right > left && bottom > top) {
          const s = found.scale;
          pen.imageSmoothingEnabled = k < 6;
          pen.imageSmoothingQuality = "high";
          pen.drawImage(
            found.bitmap, left * s, top * s, (right - left) * s, (bottom - top) * s,
            (left - x) * k * dense, (top - y) * k * dense,
            (right - left) * k * dense, (bottom - top) * k * dense,
          );
          this.host.dataset.shown = photo.screen;
        }
      } else if (preview.failed) this.host.dataset.shown = "failed";
    } else this._clear(cw, ch);
    this._done();
  }

  _clear(width, height) {
    const pen = this.canvas.getContext("2d", { alpha: false });
    pen.fillStyle = getComputedStyle(this.host).backgroundColor;
    pen.fillRect(0, 0, width, height);
    this.host.dataset.shown = "";
    this.onCanvas = null;
  }

  _done() {
    this._outline();
    this.onMoved();
    this.painted();
  }

  _outline() {
    const [sw, sh] = this.size;
    this.overlay.setAttribute("viewBox", `0 0 ${sw} ${sh}`);
    const parts = [];
    if (this.photo && this.showMarks && this.host.dataset.shown && this.host.dataset.shown !== "failed") {
      // The chosen place gets its label first and lies on top.
      const ordered = [...this.marks].sort((a, b) => b.selected - a.selected);
      const drawn = ordered.map((mark) => this._shape(mark));
      const taken = drawn.map(({ rect }) => rect);
      const groups = ordered.map((mark, i) => this._mark(mark, drawn[i], taken));
      parts.push(...groups.reverse());
    }
    if (this.drawing) parts.push(this._pencil());
    this.overlay.replaceChildren(...parts);
  }

  _toStage([px, py]) {
    return [(px + 0.5 - this.view.x) * this.view.k, (py + 0.5 - this.view.y) * this.view.k];
  }

  // The line about a place on the stage, and the box that it fills there.
  _shape(mark) {
    const [bx, by, bw, bh] = mark.box_px;
    const [x0, y0] = this._toStage([bx - 0.5, by - 0.5]);
    const [x1, y1] = this._toStage([bx + bw - 0.5, by + bh - 0.5]);
    if (Math.max(x1 - x0, y1 - y0) >= 2 * LEAST_RING) {
      const points = mark.outline_px.map((point) => this._toStage(point));
      const line = `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}Z`;
      return { line, rect: [x0, y0, x1, y1] };
    }
    // Too small for its own outline: a ring for a pit, a diamond for all else.
    const [cx, cy] = [(x0 + x1) / 2, (y0 + y1) / 2];
    const r = LEAST_RING + 3;
    const line = mark.fault === "pit"
      ? `M${cx - r} ${cy}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0Z`
      : `M${cx} ${cy - r - 2}L${cx + r + 2} ${cy}L${cx} ${cy + r + 2}L${cx - r - 2} ${cy}Z`;
    return { line, rect: [cx - r, cy - r, cx + r, cy + r] };
  }

  _mark(mark, { line, rect }, taken) {
    const group = svg("g", { class: `mark ${mark.state}${mark.selected ? " selected" : ""}` });
    group.append(svg("path", { d: line, class: "under" }));
    group.append(svg("path", { d: line, class: "line", "stroke-dasharray": mark.dashes || "none" }));
    const spot = this._room(rect, taken);
    if (spot) {
      const [left, top] = spot;
      taken.push([left, top, left + TAG[0], top + TAG[1]]);
      const from = [clamp((rect[0] + rect[2]) / 2, left, left + TAG[0]), clamp((rect[1] + rect[3]) / 2, top, top + TAG[1])];
      const to = [clamp(from[0], rect[0], rect[2]), clamp(from[1], rect[1], rect[3])];
      const lead = { x1: from[0], y1: from[1], x2: to[0], y2: to[1] };
      group.append(svg("line", { ...lead, class: "under lead" }), svg("line", { ...lead, class: "line lead" }));
      const tag = svg("g", { class: "tag", transform: `translate(${left} ${top})` });
      tag.append(svg("rect", { width: TAG[0], height: TAG[1], rx: 3 }));
      tag.append(svg("path", { d: mark.path, transform: "translate(4 3.5) scale(.8)" }));
      const text = svg("text", { x: 20, y: 14.5 });
      text.textContent = mark.state === "wrong" || mark.state === "drawing" ? `${mark.number}×` : String(mark.number);
      tag.append(text);
      group.append(tag);
    }
    group.addEventListener("click", (event) => {
      if (this.drawing || this.dragged) return;
      event.stopPropagation();
      this.onPick(mark.place);
    });
    return group;
  }

  // Where a label covers neither a place nor another label; null where there is no such room.
  _room([x0, y0, x1, y1], taken) {
    const [sw, sh] = this.size;
    const [w, h] = TAG;
    if (x1 < 0 || y1 < 0 || x0 > sw || y0 > sh) return null;
    for (const far of [4, 22, 44, 70, 100]) {
      for (const [dx, dy] of [[1, -1], [-1, -1], [1, 1], [-1, 1], [1, 0], [-1, 0], [0, -1], [0, 1]]) {
        const left = dx > 0 ? x1 + far : dx < 0 ? x0 - far - w : (x0 + x1 - w) / 2;
        const top = dy > 0 ? y1 + far / 2 : dy < 0 ? y0 - far / 2 - h : (y0 + y1 - h) / 2;
        if (left < 1 || top < 1 || left + w > sw - 1 || top + h > sh - 1) continue;
        if (!taken.some(([a, b, c, d]) => left < c && left + w > a && top < d && top + h > b)) return [left, top];
      }
    }
    return null;
  }

  // --- drawing a place by hand -------------------------------------------------------------

  startDrawing() {
    const [sw, sh] = this.size;
    this.drawing = { points: [], ring: { at: this.toPhoto([sw / 2, sh / 2]), r: 30 / this.view.k } };
    this.host.classList.add("drawing");
    this.draw();
  }

  stopDrawing() {
    this.drawing = null;
    this.host.classList.remove("drawing");
    this.draw();
  }

  nudge(dx, dy, factor = 1) {
    const ring = this.drawing.ring;
    const step = 8 / this.view.k;
    ring.at = [ring.at[0] + dx * step, ring.at[1] + dy * step];
    ring.r = Math.max(2 / this.view.k, ring.r * factor);
    this.drawing.points = [];
    this.draw();
  }

  // The outline in pixels of the photo: what was drawn, else the ring; held within the photo.
  drawnOutline() {
    const { points, ring } = this.drawing;
    const [w, h] = photoSize(this.photo);
    let outline = points;
    if (points.length < 3) {
      const corners = 24;
      outline = Array.from({ length: corners }, (_, i) => {
        const angle = (2 * Math.PI * i) / corners;
        return [ring.at[0] + ring.r * Math.cos(angle), ring.at[1] + ring.r * Math.sin(angle)];
      });
    }
    // A few dozen points say as much as the hundreds that a hand leaves.
    const stride = Math.max(1, Math.floor(outline.length / 64));
    return outline
      .filter((_, i) => i % stride === 0)
      .map(([x, y]) => [Math.min(Math.max(0, Math.round(x)), w - 1), Math.min(Math.max(0, Math.round(y)), h - 1)]);
  }

  _pencil() {
    const points = this.drawnOutline().map((point) => this._toStage(point));
    const group = svg("g", { class: "pencil" });
    const shape = `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}Z`;
    group.append(svg("path", { d: shape, class: "under" }), svg("path", { d: shape, class: "line" }));
    return group;
  }

  // --- hands -----------------------------------------------------------------------------

  _spot(event) {
    const box = this.host.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  _listen() {
    const host = this.host;
    host.addEventListener("wheel", (event) => {
      event.preventDefault();
      // A trackpad sends many small steps, a wheel a few large ones: both end at the same place.
      const step = event.deltaMode === 1 ? event.deltaY * 16 : event.deltaY;
      this.zoomBy(Math.exp(-step / (event.ctrlKey ? 120 : 400)), this._spot(event));
    }, { passive: false });
    host.addEventListener("pointerdown", (event) => {
      if (event.button > 0) return;
      this.pointers.set(event.pointerId, this._spot(event));
      this.dragged = false;
      if (this.drawing && this.pointers.size === 1) {
        host.setPointerCapture(event.pointerId);
        this.drawing.points = [this.toPhoto(this._spot(event))];
      }
    });
    host.addEventListener("pointermove", (event) => {
      const before = this.pointers.get(event.pointerId);
      if (!before) return;
      const now = this._spot(event);
      if (this.pointers.size === 2) {
        const [other] = [...this.pointers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
        const was = Math.hypot(before[0] - other[0], before[1] - other[1]);
        const is = Math.hypot(now[0] - other[0], now[1] - other[1]);
        this.moveBy((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
        if (was > 4) this.zoomBy(is / was, [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
        this.dragged = true;
        if (this.drawing) this.drawing.points = [];
      } else if (this.drawing) {
        this.drawing.points.push(this.toPhoto(now));
        this.draw();
      } else {
        if (event.pointerType === "touch" && this.fitted) return;
        const far = Math.hypot(now[0] - before[0], now[1] - before[1]);
        if (!this.dragged && far < 4) return;
        if (!this.dragged) host.setPointerCapture(event.pointerId);
        this.dragged = true;
        this.moveBy(now[0] - before[0], now[1] - before[1]);
      }
      this.pointers.set(event.pointerId, now);
    });
    const up = (event) => {
      const was = this.pointers.delete(event.pointerId);
      if (was && this.drawing && this.pointers.size === 0 && this.drawing.points.length >= 3) this.onDrawn();
    };
    host.addEventListener("pointerup", up);
    host.addEventListener("pointercancel", up);
    host.addEventListener("dblclick", (event) => {
      if (this.drawing) return;
      if (this.fitted) this.zoomBy(3, this._spot(event));
      else this.fit();
    });
  }
}
