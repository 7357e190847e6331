// Rows of thumbnails, one row a piece: choose photos, move them, name their view, turn them.

const UNANSWERED_MS = 6000;

const sorters = new WeakMap();

export default function (component) {
  const root = component.parentElement;
  let sorter = sorters.get(root);
  if (!sorter) {
    sorter = new Sorter(root);
    sorters.set(root, sorter);
  }
  sorter.take(component);
  return () => {
    clearTimeout(sorter.reminder);
    sorter.press.close();
    sorters.delete(root);
  };
}

class Sorter {
  constructor(root) {
    this.root = root;
    this.body = root.querySelector("[data-role='sorter']");
    this.chosen = new Set();
    this.target = "";
    // What was said and is not answered yet, in order; the first of it is under way.
    this.said = [];
    this.press = new Press(root, () => this.render());
  }

  take({ data, setTriggerValue }) {
    this.data = data;
    this.trigger = setTriggerValue;
    const before = this.said.length;
    this.said = this.said.filter((each) => each.value.turn > data.answered);
    const known = new Set([...data.pieces, { photos: data.aside }].flatMap((piece) => piece.photos.map((photo) => photo.id)));
    this.chosen = new Set([...this.chosen].filter((id) => known.has(id)));
    this.render();
    if (this.said.length < before) this.send();
  }

  act(what, fields) {
    this.say("act", { do: what, photos: [...this.chosen], ...fields });
  }

  // One thing at a time: what is said while another is under way waits for its turn.
  say(name, fields) {
    this.turn = Math.max(Date.now(), (this.turn || 0) + 1);
    this.said.push({ name, value: { ...fields, turn: this.turn } });
    if (this.said.length === 1) this.send();
  }

  // Sent again until it is answered; the record does each once.
  send() {
    clearTimeout(this.reminder);
    if (!this.said.length) return;
    const [{ name, value }] = this.said;
    this.trigger(name, value);
    this.reminder = setTimeout(() => this.send(), UNANSWERED_MS);
  }

  move(code, ids = null) {
    const photos = ids || [...this.chosen];
    if (!code.trim() || !photos.length) return;
    this.act("move", { photos, code: code.trim() });
    this.chosen.clear();
    this.target = "";
  }

  render() {
    if (this.press.holds()) return;
    const scope = this.root instanceof ShadowRoot ? this.root : document;
    const held = scope.activeElement && this.root.contains(scope.activeElement) ? scope.activeElement.getAttribute("data-focus") : null;
    this.body.replaceChildren(this.bar(), ...this.data.pieces.map((piece) => this.row(piece)),
      ...(this.data.aside.length ? [this.row({ code: "", photos: this.data.aside, problems: [] })] : []));
    if (held) {
      const again = this.body.querySelector(`[data-focus="${CSS.escape(held)}"]`);
      if (again) again.focus({ preventScroll: true });
    }
  }

  bar() {
    const count = this.chosen.size;
    const input = el("input", { type: "text", list: "codes", "aria-label": "Piece to move the chosen photos to", placeholder: "piece, known or new", "data-focus": "target", maxlength: 60 });
    input.value = this.target;
    input.addEventListener("input", () => { this.target = input.value; });
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") this.move(input.value);
    });
    const codes = el("datalist", { id: "codes" }, ...this.data.pieces.map((piece) => el("option", { value: piece.code })));
    const off = count === 0;
    return el("div", { class: "sortbar" },
      el("strong", { text: count === 0 ? "Choose photos to put right" : count === 1 ? "1 photo chosen" : `${count} photos chosen` }),
      input, codes,
      el("button", { type: "button", "data-focus": "move", disabled: off, on: { click: () => this.move(input.value) } }, "Move there"),
      el("button", { type: "button", "data-focus": "new", disabled: off, on: { click: () => this.move(this.data.free) } }, `As a new piece, ${this.data.free}`),
      el("button", { type: "button", "data-focus": "turn", disabled: off, on: { click: () => this.act("turn", {}) } }, "Turn ↻"),
      el("button", { type: "button", "data-focus": "aside", disabled: off, on: { click: () => { this.act("aside", {}); this.chosen.clear(); } } }, "Set aside"),
      el("button", { type: "button", "data-focus": "back", disabled: !this.data.back, on: { click: () => this.say("back", {}) } }, "Take back"));
  }

  row(piece) {
    const ids = piece.photos.map((photo) => photo.id);
    const all = ids.length > 0 && ids.every((id) => this.chosen.has(id));
    const row = el("section", { class: "tray", "aria-label": piece.code ? `Piece ${piece.code}` : "Photos set aside" });
    row.append(el("div", { class: "who" }, el("h3", { text: piece.code || "Set aside" }),
      piece.design ? el("p", { class: "quiet", text: piece.design }) : "",
      piece.state ? el("p", { class: "quiet", text: piece.state }) : "",
      ids.length ? el("button", { type: "button", class: "plain", "data-focus": `all ${piece.code}`, on: { click: () => { for (const id of ids) all ? this.chosen.delete(id) : this.chosen.add(id); this.render(); } } }, all ? "None of these" : "All of these") : "",
      ...piece.problems.map((text) => el("p", { class: "advice", text }))));
    row.append(el("ul", { class: "thumbs" }, ...piece.photos.map((photo) => this.thumb(photo, piece))));
    if (piece.code) {
      row.addEventListener("dragover", (event) => { event.preventDefault(); row.classList.add("over"); });
      row.addEventListener("dragleave", () => row.classList.remove("over"));
      row.addEventListener("drop", (event) => {
        event.preventDefault();
        row.classList.remove("over");
        const dragged = this.dragged || [];
        const news = dragged.filter((id) => !ids.includes(id));
        if (news.length) this.move(piece.code, news);
      });
    }
    return row;
  }

  thumb(photo, piece) {
    const on = this.chosen.has(photo.id);
    const name = `${piece.code || "set aside"}, ${photo.view}`;
    const pick = el("button", { type: "button", class: "pick", draggable: "true", "aria-pressed": String(on), "aria-label": `Choose photo ${name}`, "data-focus": `photo ${photo.id}`, title: photo.name,
      on: { click: () => { if (on) this.chosen.delete(photo.id); else this.chosen.add(photo.id); this.render(); } } },
      el("img", { src: photo.thumb, alt: "", loading: "lazy", draggable: "false" }));
    pick.addEventListener("dragstart", (event) => {
      this.dragged = this.chosen.has(photo.id) ? [...this.chosen] : [photo.id];
      event.dataTransfer.setData("text/plain", String(photo.id));
    });
    const view = el("select", { "aria-label": `View of photo ${name}`, "data-focus": `view ${photo.id}`, on: { change: (event) => this.act("view", { photos: [photo.id], view: event.target.value }) } });
    for (const each of new Set([photo.view, ...this.data.views])) view.append(el("option", { value: each, text: each }));
    view.value = photo.view;
    return el("li", {}, pick, view, ...(photo.problems || []).map((text) => el("p", { class: "advice", text })));
  }
}
