// What every pane builds on: nodes of the page, shapes of faults, and decoded photos. Coordinates
// named *_px are pixels of the upright, full-size photo.

const SVG = "http://www.w3.org/2000/svg";

// Decoded photos kept for the stage. A preview takes 8 MB, a 12 megapixel photo 48 MB.
const KEPT_PREVIEWS = 12;
const KEPT_FULL = 2;

export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (key === "on") for (const [kind, fn] of Object.entries(value)) node.addEventListener(kind, fn);
    else if (key === "class") node.className = value;
    else if (key === "text") node.textContent = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  // Children are nodes or plain text, never markup: names of pieces come from file names.
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== ""));
  return node;
}

// Long enough for a tap to be told as a click after the finger is up.
const RELEASED_MS = 100;

// A button that is made anew between press and release is never clicked: the browser tells a click
// only of what felt both. What an answer of the record changes waits until the finger is up.
export class Press {
  constructor(root, again) {
    this.again = again;
    this.down = false;
    this.late = false;
    this.closed = new AbortController();
    const first = { capture: true, signal: this.closed.signal };
    root.addEventListener("pointerdown", (event) => {
      if (!(event.target instanceof Element) || !event.target.closest("button, summary, a")) return;
      clearTimeout(this.timer);
      this.down = true;
    }, first);
    for (const kind of ["pointerup", "pointercancel"]) window.addEventListener(kind, () => this.release(RELEASED_MS), first);
    root.addEventListener("click", (event) => {
      // Enter on the button that has the focus tells a click, too, but not of this press.
      if (!event.detail) return;
      // What the click itself changes is shown at once.
      this.down = false;
      this.release(0);
    }, first);
  }

  close() {
    clearTimeout(this.timer);
    this.closed.abort();
  }

  release(afterMs) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      this.down = false;
      if (this.late) this.again();
    }, afterMs);
  }

  // Whether to make things anew later.
  holds() {
    this.late = this.down;
    return this.down;
  }
}

export function svg(name, attributes = {}) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
}

// The shape of a fault, as the printed page draws it.
export function sign(path, size = 16) {
  const node = svg("svg", { viewBox: "0 0 16 16", width: size, height: size, "aria-hidden": "true" });
  node.classList.add("sign");
  node.append(svg("path", { d: path }));
  return node;
}

class Pictures {
  constructor(most) {
    this.most = most;
    this.known = new Map();
  }

  // A decoded picture, or a promise of one; null when it cannot be had.
  get(address) {
    const found = this.known.get(address);
    if (found) {
      this.known.delete(address);
      this.known.set(address, found);
      return found;
    }
    const entry = { bitmap: null, failed: false, ready: null };
    entry.ready = fetch(address, { credentials: "same-origin" })
      .then((answer) => {
        if (!answer.ok) throw new Error(String(answer.status));
        return answer.blob();
      })
      .then((blob) => createImageBitmap(blob))
      .then((bitmap) => {
        if (!this.known.has(address)) bitmap.close();
        else entry.bitmap = bitmap;
        return entry;
      })
      .catch(() => {
        entry.failed = true;
        this.known.delete(address);
        return entry;
      });
    this.known.set(address, entry);
    for (const [old, other] of this.known) {
      if (this.known.size <= this.most) break;
      this.known.delete(old);
      if (other.bitmap) other.bitmap.close();
    }
    return entry;
  }
}

export const previews = new Pictures(KEPT_PREVIEWS);
export const fulls = new Pictures(KEPT_FULL);

// The best picture at hand of a photo, with its pixels for one pixel of the full photo.
export function atHand(photo, wantFull, whenReady) {
  const size = photoSize(photo);
  if (wantFull) {
    const full = fulls.get(photo.full);
    if (full.bitmap) return { bitmap: full.bitmap, scale: full.bitmap.width / (size[0] || full.bitmap.width) };
    if (!full.failed) full.ready.then(whenReady);
  }
  const preview = previews.get(photo.screen);
  if (preview.bitmap) {
    const width = size[0] || preview.bitmap.width;
    return { bitmap: preview.bitmap, scale: preview.bitmap.width / width };
  }
  if (!preview.failed) preview.ready.then(whenReady);
  return null;
}

export function photoSize(photo) {
  if (photo.width_px) return [photo.width_px, photo.height_px];
  const preview = previews.get(photo.screen);
  return preview.bitmap ? [preview.bitmap.width, preview.bitmap.height] : [0, 0];
}
