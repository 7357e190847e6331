// A contact sheet: pieces in groups, to look over, to open on the bench, or to pass at once.

const sheets = new WeakMap();
const GRADE_NAMES = { first: "First", second: "Second", refire: "Refire", ungraded: "Ungraded" };

export default function (component) {
  const root = component.parentElement;
  let sheet = sheets.get(root);
  if (!sheet) {
    sheet = new Sheet(root);
    sheets.set(root, sheet);
  }
  sheet.take(component);
  return () => {
    sheet.close();
    sheets.delete(root);
  };
}

class Sheet {
  constructor(root) {
    this.root = root;
    this.body = root.querySelector("[data-role='sheet']");
    this.leftOut = new Set();
    this.only = null;
    this.press = new Press(root, () => this.render());
    this.onKey = (event) => this.key(event);
    document.addEventListener("keydown", this.onKey);
  }

  close() {
    document.removeEventListener("keydown", this.onKey);
    this.press.close();
  }

  take({ data, setTriggerValue }) {
    this.data = data;
    this.trigger = setTriggerValue;
    this.sent = false;
    this.render();
  }

  key(event) {
    if (!this.data.pass || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    const target = event.composedPath()[0];
    if (target instanceof Element && target.closest("button, a, summary, input, textarea, select, [role='combobox']")) return;
    if (event.key === "Enter") this.pass();
    else if (event.key.toLowerCase() === "u") this.trigger("back", Date.now());
    else return;
    event.preventDefault();
  }

  get chosen() {
    return this.data.groups.flatMap((group) => group.items).filter((item) => !this.leftOut.has(item.code));
  }

  pass() {
    const chosen = this.chosen;
    if (!chosen.length || this.sent) return;
    this.sent = true;
    this.trigger("pass", Object.fromEntries(chosen.map((item) => [item.code, item.state])));
  }

  render() {
    if (this.press.holds()) return;
    const parts = [];
    if (this.data.summary) parts.push(this.summary(this.data.summary));
    for (const group of this.data.groups) {
      const items = group.items.filter((item) => this.fits(item));
      if (!items.length) continue;
      if (group.title) parts.push(el("h3", {}, `${group.title} `, el("small", { text: items.length === 1 ? "1 piece" : `${items.length} pieces` })));
      parts.push(el("ul", { class: this.data.pass ? "grid wide" : "grid" }, ...items.map((item) => el("li", {}, this.data.pass ? this.passing(item) : this.opening(item)))));
    }
    if (this.data.pass) parts.push(this.bar());
    const scope = this.root instanceof ShadowRoot ? this.root : document;
    const held = scope.activeElement && this.root.contains(scope.activeElement) ? scope.activeElement.getAttribute("data-focus") : null;
    this.body.replaceChildren(...parts);
    if (held) {
      const again = this.body.querySelector(`[data-focus="${CSS.escape(held)}"]`);
      if (again) again.focus({ preventScroll: true });
    }
  }

  fits(item) {
    if (!this.only) return true;
    const [kind, name] = this.only;
    if (kind === "grade") return item.grade === name;
    if (kind === "fault") return item.faults.includes(name);
    return item.waits;
  }

  filter(kind, name) {
    const same = this.only && this.only[0] === kind && this.only[1] === name;
    this.only = same ? null : [kind, name];
    this.render();
  }

  chosenOnly(kind, name) {
    return String(Boolean(this.only && this.only[0] === kind && this.only[1] === name));
  }

  summary({ grades, faults, waits, pieces }) {
    const counts = el("div", { class: "counts", role: "group", "aria-label": "Pieces of each grade; press one to see only these" });
    for (const each of grades) {
      counts.append(el("button", { type: "button", "data-focus": `grade ${each.grade}`, "aria-pressed": this.chosenOnly("grade", each.grade), on: { click: () => this.filter("grade", each.grade) } },
        el("b", { text: String(each.count) }), el("span", { text: GRADE_NAMES[each.grade] }), el("small", { text: each.count ? `${each.mine} by you` : "" })));
    }
    counts.append(el("button", { type: "button", "data-focus": "waits", "aria-pressed": this.chosenOnly("waits", ""), on: { click: () => this.filter("waits", "") } },
      el("b", { text: String(waits) }), el("span", { text: "Wait for you" }), el("small", { text: `of ${pieces}` })));
    const most = Math.max(1, ...faults.map((each) => each.pieces));
    const bars = el("div", { class: "bars", role: "group", "aria-label": "Pieces with each fault; press one to see only these" },
      ...faults.map((each) => el("button", { type: "button", "data-focus": `fault ${each.fault}`, "aria-pressed": this.chosenOnly("fault", each.fault), on: { click: () => this.filter("fault", each.fault) } },
        sign(each.path), el("span", { text: each.label }), el("span", { class: "bar" }, el("i", { style: `width:${(100 * each.pieces) / most}%` })), el("b", { text: String(each.pieces) }))));
    if (!faults.length) bars.append(el("p", { class: "quiet", text: "No fault counts in this load." }));
    return el("div", { class: "summary" }, counts, bars);
  }

  signs(item) {
    return item.faults.map((fault) => el("span", { class: "fault", title: this.data.faults[fault].label }, sign(this.data.faults[fault].path, 13), el("span", { class: "unseen", text: this.data.faults[fault].label })));
  }

  opening(item) {
    return el("button", { type: "button", class: `card ${item.grade}`, "data-focus": `open ${item.code}`, on: { click: () => this.trigger("open", item.code) } },
      item.cover ? el("img", { src: item.cover, alt: "", loading: "lazy" }) : el("span", { class: "none" }),
      el("span", { class: "line" }, el("b", { text: item.code }), el("span", { class: "grade", text: item.waits ? `${GRADE_NAMES[item.grade] || "waits"}?` : GRADE_NAMES[item.grade] })),
      el("span", { class: "line" }, el("span", { class: "quiet", text: item.design }), el("span", { class: "signs" }, ...this.signs(item))),
      item.note ? el("small", { text: item.note }) : null);
  }

  passing(item) {
    const takes = !this.leftOut.has(item.code);
    return el("div", { class: takes ? "card passing" : "card passing out" },
      el("div", { class: "views" }, ...item.photos.map((photo) => el("img", { src: photo.src, alt: `${item.code}, ${photo.view}`, loading: "lazy" }))),
      el("div", { class: "line" }, el("b", { text: item.code }), el("span", { class: "quiet", text: item.design }),
        el("button", { type: "button", "data-focus": `take ${item.code}`, "aria-pressed": String(takes), on: { click: () => { if (takes) this.leftOut.add(item.code); else this.leftOut.delete(item.code); this.render(); } } }, takes ? "Passes" : "Left out"),
        el("button", { type: "button", class: "plain", on: { click: () => this.trigger("open", item.code) } }, "To the bench")));
  }

  bar() {
    const count = this.chosen.length;
    const all = this.data.groups.flatMap((group) => group.items).length;
    const what = count === all ? (all === 1 ? "Pass this clean one" : `Pass all ${count} clean ones`) : `Pass ${count} of ${all} clean ones`;
    return el("div", { class: "passbar" },
      el("button", { type: "button", class: "accept", "data-focus": "pass", disabled: !count, on: { click: () => this.pass() } }, el("span", { text: `${what} as first` }), el("kbd", { text: "Enter" })));
  }
}
