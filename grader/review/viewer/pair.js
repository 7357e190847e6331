// Two firings of one piece side by side: both photos move together.

const pairs = new WeakMap();
const STATES = { healed: "healed", unchanged: "unchanged", worse: "worse", new: "new", "not seen": "not seen again" };
// A shape for each state, so that none is told by colour alone.
const STATE_SIGNS = {
  healed: "M2 9 L6 13 L14 3", unchanged: "M2 6 H14 M2 10 H14", worse: "M8 2 V14 M3 9 L8 14 L13 9", new: "M8 2 V14 M2 8 H14", "not seen": "M3 3 L13 13",
};

export default function (component) {
  const root = component.parentElement;
  let pair = pairs.get(root);
  if (!pair) {
    pair = new Pair(root);
    pairs.set(root, pair);
  }
  pair.take(component);
  return () => {
    pair.close();
    pairs.delete(root);
  };
}

class Pair {
  constructor(root) {
    this.part = (role) => root.querySelector(`[data-role="${role}"]`);
    this.stages = {};
    this.press = new Press(root, () => this.render());
    for (const side of ["before", "after"]) {
      const host = this.part(side);
      this.stages[side] = new Stage(host, { onPick: (place) => this.pick(place, side), onMoved: () => this.follow(side) });
      for (const kind of ["pointerdown", "wheel", "keydown"]) host.addEventListener(kind, () => { this.leader = side; }, { capture: true, passive: true });
      host.addEventListener("keydown", (event) => {
        if (event.key === "+" || event.key === "=") this.stages[side].zoomBy(1.4);
        else if (event.key === "-") this.stages[side].zoomBy(1 / 1.4);
        else if (event.key === "0") this.fit();
      });
    }
    this.leader = "before";
    this.mark = null;
  }

  close() {
    this.press.close();
    this.stages.before.close();
    this.stages.after.close();
  }

  take({ data, setTriggerValue }) {
    const isOther = !this.data || this.data.code !== data.code;
    this.data = data;
    this.trigger = setTriggerValue;
    if (isOther) {
      this.view = data.views.length ? data.views[0].view : null;
      this.mark = null;
      const first = data.marks.findIndex((mark) => mark.before || mark.after);
      if (first >= 0) this.choose(first, false);
    }
    this.render();
  }

  // The other photo shows the same part of the piece: same share of its box, same size of it.
  follow(side) {
    if (side !== this.leader) return;
    const other = this.stages[side === "before" ? "after" : "before"];
    const own = this.stages[side];
    if (!own.photo || !other.photo) return;
    const [a, b] = [boxOf(own.photo), boxOf(other.photo)];
    if (!a || !b) return;
    const ratio = a[3] / b[3];
    const [sw, sh] = own.size;
    const k = own.view.k * ratio;
    const cx = (own.view.x + sw / 2 / own.view.k - a[0] - a[2] / 2) / a[3];
    const cy = (own.view.y + sh / 2 / own.view.k - a[1] - a[3] / 2) / a[3];
    const [ow, oh] = other.size;
    other.view = { k, x: b[0] + b[2] / 2 + cx * b[3] - ow / 2 / k, y: b[1] + b[3] / 2 + cy * b[3] - oh / 2 / k };
    other.fitted = own.fitted;
    other.draw();
  }

  fit() {
    this.stages[this.leader].fit();
  }

  choose(index, close = true) {
    const mark = this.data.marks[index];
    this.mark = index;
    const found = mark.before || mark.after;
    if (found) {
      this.view = found.view;
      this.photos = { [found.side]: found.photo };
    }
    this.render();
    if (close && found) {
      this.leader = found.side;
      this.stages[found.side].closeTo(found.box_px, 4);
    }
  }

  pick(place, side) {
    const index = this.data.marks.findIndex((mark) => mark[side] && mark[side].place === place);
    if (index >= 0) this.choose(index);
  }

  render() {
    if (this.press.holds()) return;
    const view = this.data.views.find((each) => each.view === this.view) || this.data.views[0];
    for (const side of ["before", "after"]) {
      const photos = view ? view[side] : [];
      const wanted = this.photos && this.photos[side];
      const photo = photos.find((each) => each.id === wanted) || photos[0];
      const said = this.part(`${side}said`);
      const word = side === "before" ? "Before" : "After";
      if (!photo) {
        said.textContent = `${word}: this view was not photographed`;
        this.stages[side].photo = null;
        this.stages[side].marks = [];
        this.stages[side].draw();
        continue;
      }
      said.textContent = `${word}, ${photo.view}`;
      const marks = this.data.marks.map((mark, index) => ({ mark: mark[side], index })).filter(({ mark }) => mark && mark.photo === photo.id)
        .map(({ mark, index }) => ({ ...mark, number: index + 1, state: "counts", selected: index === this.mark, path: this.data.faults[mark.fault].path, dashes: this.data.faults[mark.fault].dashes }));
      this.stages[side].show(photo, marks);
    }
    this.part("views").replaceChildren(...this.data.views.map((each) => el("button", { type: "button", "aria-pressed": String(view && each.view === view.view), on: { click: () => { this.view = each.view; this.photos = null; this.render(); this.fit(); } } }, each.view)));
    this.part("marks").replaceChildren(...this.data.marks.map((mark, index) => {
      const line = svg("svg", { viewBox: "0 0 16 16", width: 18, height: 18, "aria-hidden": "true", class: "state" });
      line.append(svg("path", { d: STATE_SIGNS[mark.state] }));
      const item = el("li", {}, el("button", { type: "button", "aria-current": index === this.mark ? "true" : false, on: { click: () => this.choose(index) } },
        line, el("b", { text: `${index + 1} · ${STATES[mark.state]}` }), el("span", { text: mark.text })));
      if (mark.before && index === this.mark) {
        item.append(el("div", { class: "words" }, el("span", { text: "Seen otherwise?" }), ...this.data.states.map((state) =>
          el("button", { type: "button", "aria-pressed": String(state === mark.state), on: { click: () => this.trigger("say", { place: mark.before.place, state, turn: Date.now() }) } }, STATES[state]))));
      }
      return item;
    }));
  }
}

function boxOf(photo) {
  if (photo.box_px) return photo.box_px;
  const [w, h] = photoSize(photo);
  return w ? [0, 0, w, h] : null;
}
