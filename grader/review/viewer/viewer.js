// The bench: acts at once on every key, sends what was said to the record, and shows what the
// record answers. Nothing is decided here: grades are proposed by the rules on the server.

const GRADE_KEYS = ["first", "second", "refire"];
const GRADE_WORDS = { first: "First", second: "Second", refire: "Refire", ungraded: "Ungraded", "": "not looked at yet" };
const JUDGED_WORDS = { right: "agreed: a fault", wrong: "wrong: nothing there", drawing: "it is the drawing" };
const BAR_MM = [0.5, 1, 2, 5, 10, 20, 50];
const KEPT_PIECES = 12;
const ASK_AGAIN_MS = [250, 500, 1000, 2000, 4000];
const LOOKING_MS = 4000;
const UNKEPT_MS = 6000;
// Long enough to read twice: a word in passing needs no key to be put away.
const SAID_MS = 9000;

const benches = new WeakMap();

export default function (component) {
  const root = component.parentElement;
  let bench = benches.get(root);
  if (!bench) {
    bench = new Bench(root);
    benches.set(root, bench);
  }
  bench.take(component);
  return () => {
    bench.close();
    benches.delete(root);
  };
}

class Bench {
  constructor(root) {
    this.root = root;
    this.part = (role) => root.querySelector(`[data-role="${role}"]`);
    this.load = Math.random().toString(36).slice(2, 10);
    this.acts = [];
    this.number = 0;
    this.pieces = new Map();
    this.queue = [];
    this.at = null;
    this.place = null;
    this.photo = null;
    this.noticed = null;
    this.jumped = null;
    this.asked = 0;
    this.waiting = null;
    this.choosing = false;
    this.besides = false;
    this.dismissed = 0;
    this.stage = new Stage(this.part("stage"), {
      onPick: (place) => this.pick(place),
      onDrawn: () => this.chooseFault(),
      onMoved: () => this.tellScale(),
    });
    this.onKey = (event) => this.key(event);
    document.addEventListener("keydown", this.onKey);
    this.onLeave = (event) => {
      if (this.acts.length) event.preventDefault();
    };
    window.addEventListener("beforeunload", this.onLeave);
  }

  close() {
    document.removeEventListener("keydown", this.onKey);
    window.removeEventListener("beforeunload", this.onLeave);
    for (const timer of [this.waiting, this.reminder, this.ahead, this.hushed]) clearTimeout(timer);
    this.stage.close();
  }

  // --- what the record says ------------------------------------------------------------------

  take({ data, setStateValue, setTriggerValue }) {
    this.setStateValue = setStateValue;
    this.setTriggerValue = setTriggerValue;
    this.data = data;
    this.keys = new Map(data.keys.flatMap((key) => key.keys.map((name) => [name, key])));
    const acked = data.acked[this.load] || 0;
    this.acts = this.acts.filter((act) => act.number > acked);
    this.queue = data.queue;
    for (const piece of data.pieces) this.keep(piece);
    if (this.jumped === null) {
      this.jumped = data.jump[0];
      this.noticed = data.notices.length ? data.notices[data.notices.length - 1].number : 0;
      this.go(data.at || (this.queue[0] && this.queue[0].code) || null);
    } else if (data.jump[0] > this.jumped) {
      this.jumped = data.jump[0];
      if (data.jump[1]) this.go(data.jump[1]);
    }
    this.settle();
    this.render();
    this.await();
  }

  keep(piece) {
    this.pieces.delete(piece.code);
    this.pieces.set(piece.code, piece);
    for (const old of this.pieces.keys()) {
      if (this.pieces.size <= KEPT_PIECES) break;
      if (old !== this.at) this.pieces.delete(old);
    }
  }

  get piece() {
    return this.pieces.get(this.at) || null;
  }

  // An agreement that waited until the rules had answered the judgements before it.
  settle() {
    const wish = this.wish;
    if (!wish || this.busy(wish.code)) return;
    this.wish = null;
    const piece = this.pieces.get(wish.code);
    if (!piece || !piece.proposed) return;
    if (piece.proposed === wish.shown) this.grade(piece.proposed);
    else this.say(`Now proposed: ${GRADE_WORDS[piece.proposed]}. Press Enter again to agree.`);
  }

  busy(code) {
    return this.acts.some((act) => act.code === code && act.do !== "grade");
  }

  wanted() {
    if (!this.at) return [];
    const ahead = this.nextUndecided(this.at);
    const further = ahead && this.nextUndecided(ahead);
    const index = this.queue.findIndex((row) => row.code === this.at);
    const behind = index > 0 ? this.queue[index - 1].code : null;
    return [...new Set([this.at, ahead, further, behind].filter(Boolean))];
  }

  sync() {
    const want = this.wanted();
    this.setStateValue("said", {
      load: this.load,
      at: this.at,
      want: want.filter((code) => code === this.at || !this.pieces.has(code)),
      acts: this.acts,
      turn: (this.turn = (this.turn || 0) + 1),
    });
  }

  act(what, fields = {}) {
    this.acts.push({ number: ++this.number, do: what, code: this.at, seen: this.piece ? this.piece.state : null, ...fields });
    this.sync();
    this.remind();
  }

  // What was said is not kept before the record has answered: say so, and send it again.
  remind() {
    clearTimeout(this.reminder);
    this.reminder = setTimeout(() => {
      if (!this.acts.length) return;
      this.say("Not written down yet. Is the program still running? It is sent again.");
      this.sync();
      this.remind();
    }, UNKEPT_MS);
  }

  // Ask again for what is still being worked out: sound surface, photos that wait for their look.
  await() {
    clearTimeout(this.waiting);
    const piece = this.piece;
    if (!piece) {
      if (this.at && this.asked < ASK_AGAIN_MS.length) this.later(ASK_AGAIN_MS[this.asked++]);
      return;
    }
    const lacking = piece.findings.some((finding) => finding.sound_px === undefined);
    if (lacking && this.asked < ASK_AGAIN_MS.length) this.later(ASK_AGAIN_MS[this.asked++]);
    else if (this.data.looking) this.later(LOOKING_MS);
    this.prefetch();
  }

  later(ms) {
    this.waiting = setTimeout(() => this.sync(), ms);
  }

  // --- going about ----------------------------------------------------------------------------

  decided(row) {
    for (let i = this.acts.length - 1; i >= 0; i--) {
      const act = this.acts[i];
      if (act.do === "grade" && act.code === row.code) return act.grade;
    }
    return row.decided;
  }

  nextUndecided(code) {
    const start = this.queue.findIndex((row) => row.code === code);
    for (let step = 1; step <= this.queue.length; step++) {
      const row = this.queue[(start + step + this.queue.length) % this.queue.length];
      if (row.code !== code && !this.decided(row) && !row.pending) return row.code;
    }
    return null;
  }

  go(code) {
    this.at = code;
    this.asked = 0;
    this.place = null;
    this.photo = null;
    this.wish = null;
    this.choosing = false;
    if (this.stage.drawing) this.stage.stopDrawing();
    this.arrive();
  }

  // Take the first place that wants a look, and the photo that shows it.
  arrive() {
    const piece = this.piece;
    if (!piece) return;
    const first = this.nextOpen(piece, null);
    if (first) this.place = first.place;
    this.photo = first ? first.photo : piece.photos.length ? piece.photos[0].id : null;
    this.arrived = this.at;
  }

  move(code) {
    if (!code) {
      this.say("No other piece waits for its grade.");
      return;
    }
    this.go(code);
    this.render();
    this.sync();
  }

  step(by) {
    const index = this.queue.findIndex((row) => row.code === this.at);
    const row = this.queue[index + by];
    if (row) this.move(row.code);
    else this.say(by < 0 ? "This is the first piece of the list." : "This is the last piece of the list.");
  }

  judged(finding) {
    for (let i = this.acts.length - 1; i >= 0; i--) {
      const act = this.acts[i];
      if (act.do === "judge" && act.code === this.at && act.places.includes(finding.place)) return act.word;
    }
    return finding.judged;
  }

  // Places that want a word: those with a say in the grade, or too unsure to have one.
  isOpen(finding) {
    return !finding.by_hand && !this.judged(finding) && (finding.weight === "counts" || finding.weight === "look");
  }

  nextOpen(piece, after) {
    const list = piece.findings;
    const start = list.findIndex((finding) => finding.place === after);
    for (let step = 1; step <= list.length; step++) {
      const finding = list[(start + step + list.length) % list.length];
      if (finding.place !== after && this.isOpen(finding)) return finding;
    }
    return null;
  }

  pick(place, close = false) {
    const finding = this.piece && this.piece.findings.find((each) => each.place === place);
    if (!finding) return;
    this.place = place;
    this.photo = finding.photo;
    this.render();
    if (close || !this.stage.fitted) this.stage.closeTo(finding.box_px);
  }

  turnTo(photo) {
    this.photo = photo;
    const finding = this.finding;
    if (finding && finding.photo !== photo) this.place = null;
    this.render();
  }

  get finding() {
    return this.piece ? this.piece.findings.find((each) => each.place === this.place) || null : null;
  }

  nextFinding(by) {
    const list = this.piece ? this.piece.findings : [];
    if (!list.length) {
      this.say("Nothing is marked on this piece.");
      return;
    }
    const index = list.findIndex((each) => each.place === this.place);
    const next = index < 0 ? (by > 0 ? 0 : list.length - 1) : (index + by + list.length) % list.length;
    this.pick(list[next].place);
  }

  // --- saying ---------------------------------------------------------------------------------

  judge(word, all = false) {
    const finding = this.finding;
    if (!finding) {
      this.say("Choose a place first: N goes to the next one.");
      return;
    }
    if (finding.by_hand) {
      this.say("You drew this place yourself: U takes it back.");
      return;
    }
    const places = [finding.place];
    if (all) {
      // All of the same kind on this photo: a field of flakes wants one word, not forty.
      const alike = this.piece.findings.filter((each) => each.photo === finding.photo && each.fault === finding.fault && this.isOpen(each));
      places.push(...alike.map((each) => each.place).filter((place) => place !== finding.place));
      this.say(`${places.length} × ${finding.label}: ${JUDGED_WORDS[word]}.`);
    }
    this.act("judge", { places, word });
    const next = this.nextOpen(this.piece, finding.place);
    if (next) this.pick(next.place);
    else this.render();
  }

  grade(grade) {
    const piece = this.piece;
    if (!piece) return;
    this.act("grade", { grade });
    const next = this.nextUndecided(piece.code);
    this.say(`${piece.code}: ${GRADE_WORDS[grade]}. U takes it back.`);
    if (next) {
      this.go(next);
      if (!this.piece) this.sync();
    }
    this.render();
  }

  accept() {
    const piece = this.piece;
    if (!piece) return;
    if (!piece.proposed) this.say("Nothing is proposed yet: its photos wait for their look.");
    else if (this.busy(piece.code)) this.wish = { code: piece.code, shown: piece.proposed };
    else this.grade(piece.proposed);
  }

  say(text) {
    this.part("hush").textContent = text;
    clearTimeout(this.hushed);
    this.hushed = setTimeout(() => { this.part("hush").textContent = ""; }, SAID_MS);
  }

  // --- drawing --------------------------------------------------------------------------------

  startMissed() {
    if (!this.photo || !this.piece || this.piece.pending) {
      this.say("Wait until the photos were looked at, then mark the place.");
      return;
    }
    this.choosing = false;
    this.stage.startDrawing();
    this.render();
    this.say("Draw round the place. Or move the ring with the arrows, plus and minus, then Enter.");
  }

  chooseFault() {
    this.choosing = true;
    this.render();
    const first = this.part("over").querySelector("button");
    if (first) first.focus({ preventScroll: true });
  }

  endMissed() {
    this.choosing = false;
    this.stage.stopDrawing();
    this.render();
  }

  addMissed(fault) {
    const photo = this.piece.photos.find((each) => each.id === this.photo);
    const outline = this.stage.drawnOutline();
    this.act("missed", { photo: photo.id, view: photo.view, fault, outline_px: outline });
    this.say(`Added: ${this.data.faults[fault].label}.`);
    this.endMissed();
  }

  // --- keys -----------------------------------------------------------------------------------

  key(event) {
    if (event.defaultPrevented || event.altKey || event.metaKey) return;
    const target = event.composedPath()[0];
    if (target instanceof Element) {
      if (target.closest("input, textarea, select, [contenteditable='true'], [role='combobox'], [role='listbox']")) return;
      // A key that works a button that has the focus is that button's.
      if ((event.key === "Enter" || event.key === " ") && target.closest("button, a, summary")) return;
    }
    if (event.ctrlKey) {
      if (event.key.toLowerCase() === "z") {
        event.preventDefault();
        this.run("undo");
      }
      return;
    }
    if (this.stage.drawing && this.drawKey(event)) {
      event.preventDefault();
      return;
    }
    if (event.key === "Escape" && !this.part("over").hidden) {
      this.helping = false;
      this.render();
      return;
    }
    const name = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const key = this.keys.get(name);
    if (!key || (event.repeat && !["next_finding", "previous_finding", "closer", "farther"].includes(key.act))) return;
    event.preventDefault();
    this.run(key.act, event.shiftKey);
  }

  drawKey(event) {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (event.key === "Escape") this.endMissed();
    else if (this.choosing) {
      const fault = Object.keys(this.data.faults)[Number(event.key) - 1];
      if (fault) this.addMissed(fault);
      else return event.key !== "Tab";
    } else if (moves[event.key]) this.stage.nudge(...moves[event.key]);
    else if (event.key === "+" || event.key === "=") this.stage.nudge(0, 0, 1.2);
    else if (event.key === "-") this.stage.nudge(0, 0, 1 / 1.2);
    else if (event.key === "Enter") this.chooseFault();
    else return event.key !== "Tab";
    return true;
  }

  run(act, all = false) {
    if (act === "help") {
      this.helping = !this.helping;
      this.render();
    } else if (act === "undo") this.act("undo");
    else if (!this.at) return;
    else if (act === "next_finding") this.nextFinding(1);
    else if (act === "previous_finding") this.nextFinding(-1);
    else if (act === "right" || act === "wrong" || act === "drawing") this.judge(act, all);
    else if (act === "missed") this.startMissed();
    else if (act === "accept") this.accept();
    else if (GRADE_KEYS.includes(act)) this.grade(act);
    else if (act === "next_piece") this.step(1);
    else if (act === "previous_piece") this.step(-1);
    else if (act === "closer") this.stage.zoomBy(1.4);
    else if (act === "farther") this.stage.zoomBy(1 / 1.4);
    else if (act === "outlines") {
      this.stage.showMarks = !this.stage.showMarks;
      this.render();
    } else if (act === "zoom") {
      if (!this.stage.fitted) this.stage.fit();
      else if (this.finding) this.stage.closeTo(this.finding.box_px);
      else this.stage.zoomBy(3);
      this.renderTools();
    } else if (act === "next_view") {
      const photos = this.piece ? this.piece.photos : [];
      const index = photos.findIndex((each) => each.id === this.photo);
      if (photos.length) this.turnTo(photos[(index + 1) % photos.length].id);
    } else if (act === "pattern") {
      this.besides = !this.besides;
      if (this.besides && this.piece && !this.piece.pattern) {
        this.besides = false;
        this.say("No reference piece of this design yet. Choose a good one and say so under “More”.");
      }
      this.render();
    }
  }

  // --- pictures -------------------------------------------------------------------------------

  render() {
    if (this.piece && this.arrived !== this.at) this.arrive();
    const held = this.focused();
    this.renderTop();
    this.part("work").hidden = !this.at;
    if (this.at) {
      this.renderPhoto();
      this.renderTools();
      this.renderStrip();
    }
    this.renderRight();
    this.renderOver();
    if (held) {
      const again = this.root.querySelector(`[data-focus="${held}"]`);
      if (again) again.focus({ preventScroll: true });
    }
  }

  focused() {
    const scope = this.root instanceof ShadowRoot ? this.root : document;
    const node = scope.activeElement;
    return node && this.root.contains(node) ? node.getAttribute("data-focus") : null;
  }

  // A button that the mouse pressed lets go of the focus, or the next Enter would press it again.
  clicked(event, then) {
    if (event.detail) event.currentTarget.blur();
    then();
  }

  button(act, text, options = {}) {
    const key = this.data.keys.find((each) => each.act === act);
    const name = { ArrowRight: "→", ArrowLeft: "←", ArrowDown: "↓", ArrowUp: "↑" };
    const shown = key ? name[key.keys[0]] || (key.keys[0].length === 1 ? key.keys[0].toUpperCase() : key.keys[0]) : "";
    return el("button", {
      type: "button", "data-focus": act, class: options.class || "", "aria-pressed": options.pressed,
      "aria-keyshortcuts": shown, disabled: options.disabled, title: key ? key.label : text,
      on: { click: (event) => this.clicked(event, () => this.run(act)) },
    }, el("span", { text }), options.note ? el("small", { text: options.note }) : null, shown ? el("kbd", { text: shown }) : null);
  }

  renderTop() {
    const rows = this.queue;
    const done = rows.filter((row) => this.decided(row)).length;
    const waits = rows.filter((row) => row.pending).length;
    const index = rows.findIndex((row) => row.code === this.at);
    const total = rows.length;
    // The list of sixty pieces is only made anew where it says something else.
    const said = JSON.stringify([this.at, this.helping, waits, rows.map((row) => [row.code, this.decided(row), row.proposed])]);
    if (said === this.topSaid) return;
    this.topSaid = said;
    const parts = [`${done} of ${total} graded by you`];
    if (waits) parts.push(`${waits} still being looked at`);
    const list = el("select", { "aria-label": "Piece on the bench", "data-focus": "list", on: { change: (event) => { this.move(event.target.value); event.target.blur(); } } });
    for (const row of rows) {
      const by = this.decided(row);
      const state = by ? `${GRADE_WORDS[by]}, yours` : row.pending ? "waits" : `${GRADE_WORDS[row.proposed]}?`;
      list.append(el("option", { value: row.code, text: `${row.code}  ${row.design ? `${row.design}, ` : ""}${state}` }));
    }
    list.value = this.at || "";
    const meter = el("div", { class: "meter", role: "progressbar", "aria-label": "Pieces graded", "aria-valuemin": 0, "aria-valuemax": total, "aria-valuenow": done });
    meter.append(el("i", { style: `width:${total ? (100 * done) / total : 0}%` }));
    this.part("top").replaceChildren(
      el("div", { class: "turns" }, this.button("previous_piece", "Back"), list, this.button("next_piece", "Next"),
        el("span", { class: "of", text: index >= 0 ? `${index + 1} / ${total}` : "" })),
      el("div", { class: "tally" }, meter, el("span", { text: parts.join(" · ") })),
      el("div", { class: "turns" }, this.button("undo", "Take back"), this.button("help", "Keys", { pressed: String(Boolean(this.helping)) })),
    );
  }

  get shownPhoto() {
    return this.piece ? this.piece.photos.find((each) => each.id === this.photo) || null : null;
  }

  renderPhoto() {
    const photo = this.shownPhoto;
    const beside = this.part("beside");
    if (!photo) {
      this.stage.photo = null;
      this.stage.marks = [];
      this.stage.draw();
      beside.hidden = true;
      return;
    }
    const marks = this.piece.findings
      .filter((finding) => finding.photo === photo.id)
      .map((finding) => ({
        ...finding,
        ...{ dashes: this.data.faults[finding.fault].dashes, path: this.data.faults[finding.fault].path },
        selected: finding.place === this.place,
        state: this.judged(finding) || (finding.by_hand ? "right" : finding.weight || "remark"),
      }));
    this.stage.show(photo, marks);
    const pattern = this.besides && this.piece.pattern;
    beside.hidden = !pattern;
    if (pattern) {
      const same = pattern.photos.find((each) => each.view === photo.view) || pattern.photos[0];
      beside.replaceChildren(
        el("img", { src: same.src, alt: `Reference piece ${pattern.code}, ${same.view}` }),
        el("p", { text: `Reference piece ${pattern.code}, ${same.view}` }),
      );
    }
  }

  tellScale() {
    const out = this.root.querySelector("[data-role='scale']");
    const photo = this.shownPhoto;
    if (!out || !photo) return;
    if (!photo.px_per_mm) {
      out.textContent = "no scale on this photo";
      return;
    }
    const perMm = photo.px_per_mm * this.stage.view.k;
    const mm = [...BAR_MM].reverse().find((each) => each * perMm <= 120) || BAR_MM[0];
    out.replaceChildren(el("i", { style: `width:${(mm * perMm).toFixed(1)}px` }), `${mm} mm`);
  }

  renderTools() {
    if (this.stage.drawing) {
      this.part("tools").replaceChildren(
        el("strong", { text: this.choosing ? "Which fault is it?" : "Draw round the place with mouse or finger." }),
        el("button", { type: "button", "data-focus": "ring", on: { click: () => this.chooseFault() } }, el("span", { text: "Take the ring" }), el("kbd", { text: "Enter" })),
        el("button", { type: "button", "data-focus": "cancel", on: { click: () => this.endMissed() } }, el("span", { text: "Leave it" }), el("kbd", { text: "Esc" })),
      );
      return;
    }
    this.part("tools").replaceChildren(
      this.button("zoom", this.stage.fitted ? "Go close" : "Whole piece"),
      this.button("closer", "Closer", { class: "narrow" }),
      this.button("farther", "Farther", { class: "narrow" }),
      this.button("outlines", "Outlines", { pressed: String(this.stage.showMarks) }),
      this.button("missed", "Mark a missed place"),
      this.piece && this.piece.pattern ? this.button("pattern", "Beside reference", { pressed: String(this.besides) }) : "",
      el("span", { class: "scale", "data-role": "scale" }),
    );
    this.tellScale();
  }

  renderStrip() {
    const photos = this.piece ? this.piece.photos : [];
    const strip = this.part("strip");
    const shown = photos.map((photo) => photo.thumb).join();
    // Thumbnails stay where they are as long as the piece does: only words about them change.
    if (strip.dataset.shown !== shown || strip.childElementCount !== photos.length) {
      strip.dataset.shown = shown;
      strip.replaceChildren(...photos.map((photo) => el("button", {
        type: "button", class: photo.usable ? "" : "bad", "data-focus": `photo${photo.id}`,
        on: { click: (event) => this.clicked(event, () => this.turnTo(photo.id)) },
      }, el("img", { src: photo.thumb, alt: "" }), el("span", { text: photo.view }), el("small"))));
    }
    photos.forEach((photo, index) => {
      const here = this.piece.findings.filter((finding) => finding.photo === photo.id);
      const open = here.filter((finding) => this.isOpen(finding)).length;
      const button = strip.children[index];
      button.setAttribute("aria-pressed", String(photo.id === this.photo));
      button.querySelector("small").textContent = !photo.usable ? "not usable" : open ? `${open} to judge` : here.length ? `${here.length} judged` : "";
    });
  }

  renderRight() {
    const right = this.part("right");
    const piece = this.piece;
    if (!this.at) {
      this.part("over").hidden = true;
      right.replaceChildren();
      return;
    }
    if (!piece) {
      right.replaceChildren(el("p", { class: "quiet", text: `Fetching ${this.at} …` }));
      return;
    }
    const open = right.querySelector("details.more");
    const keepOpen = Boolean(open && open.open);
    const scrolled = right.querySelector(".scroll") ? right.querySelector(".scroll").scrollTop : 0;
    const sameSpot = right.dataset.spot === `${piece.code}/${this.place}`;
    right.replaceChildren(
      el("div", { class: "scroll" }, ...this.notices(), this.who(piece), ...this.finding ? [this.foundCard(this.finding)] : [this.nothingChosen(piece)],
        this.placeList(piece), this.whyCard(piece), this.more(piece, keepOpen)),
      this.gradeBar(piece),
    );
    right.dataset.spot = `${piece.code}/${this.place}`;
    if (sameSpot) right.querySelector(".scroll").scrollTop = scrolled;
    this.drawLoupe();
  }

  notices() {
    return this.data.notices
      .filter((notice) => notice.number > Math.max(this.noticed, this.dismissed))
      .map((notice) => el("div", { class: notice.insist ? "notice warn" : "notice" }, el("p", { text: notice.text }),
        notice.insist ? el("button", { type: "button", on: { click: () => { this.dismissed = notice.number; const { do: what, ...fields } = notice.insist; this.act(what, fields); this.render(); } } }, "Say it again, to insist") : null,
        el("button", { type: "button", class: "plain", on: { click: () => { this.dismissed = notice.number; this.render(); } } }, "Close")));
  }

  who(piece) {
    const head = el("div", { class: "who" }, el("h2", { text: piece.code }), el("p", { class: "facts", title: piece.facts.join(" · "), text: piece.facts.join(" · ") }));
    if (piece.refires) head.append(el("p", { class: "flag", text: piece.refires === 1 ? "after its refire" : `after ${piece.refires} refires` }));
    if (piece.is_pattern) head.append(el("p", { class: "flag", text: "reference piece of its design" }));
    if (piece.trouble) head.append(el("p", { class: "flag warn", text: `Looking failed: ${piece.trouble}` }));
    const photo = this.shownPhoto;
    if (photo && photo.problems.length) head.append(el("ul", { class: "advice" }, ...photo.problems.map((text) => el("li", { text }))));
    return head;
  }

  nothingChosen(piece) {
    const open = piece.findings.filter((finding) => this.isOpen(finding)).length;
    let text = "Nothing was found on this piece. Look at each view, then grade it.";
    if (piece.pending) text = "Its photos are still being looked at. Go on with another piece; it comes by itself.";
    else if (open) text = `${open} ${open === 1 ? "place wants" : "places want"} your word: press N.`;
    else if (piece.findings.length) text = "Every place has been looked at. Enter agrees with the proposed grade.";
    return el("p", { class: "quiet", text });
  }

  foundCard(finding) {
    const judged = this.judged(finding);
    const fault = this.data.faults[finding.fault];
    const card = el("div", { class: "found" });
    card.append(el("h3", {}, sign(fault.path), el("span", { text: `${finding.number} · ${finding.label}` }),
      el("b", { text: finding.size })));
    const loupe = el("div", { class: "loupe" },
      el("figure", {}, el("canvas", { width: 320, height: 320, "data-role": "there", role: "img", "aria-label": `The place, ${finding.label}, enlarged` }), el("figcaption", { text: "the place" })),
      el("figure", {}, el("canvas", { width: 320, height: 320, "data-role": "sound", role: "img", "aria-label": "Sound surface of this piece at the same scale" }), el("figcaption", { "data-role": "soundnote", text: "sound surface" })));
    card.append(loupe);
    if (!finding.by_hand) {
      card.append(el("div", { class: "words" },
        this.button("right", "Agree", { pressed: String(judged === "right") }),
        this.button("wrong", "Wrong", { pressed: String(judged === "wrong") }),
        this.button("drawing", "Drawing", { pressed: String(judged === "drawing") })));
    }
    card.append(el("p", { class: "why", text: finding.why }));
    const state = judged ? `You said: ${JUDGED_WORDS[judged]}.`
      : finding.by_hand ? "You drew this place."
      : finding.weight === "look" ? "Too unsure to count by itself: your word decides."
      : finding.weight === "remark" ? "A remark only: too small or too faint to change the grade."
      : finding.weight === "counts" ? `It counts: ${finding.severity}.` : "";
    card.append(el("p", { class: "state", text: [`${finding.sure} (${Math.round(100 * finding.certainty)} %)`, finding.shift, finding.view, state].filter(Boolean).join(" · ") }));
    const alike = this.piece.findings.filter((each) => each.photo === finding.photo && each.fault === finding.fault && this.isOpen(each));
    if (!finding.by_hand && alike.length > 2) {
      card.append(el("p", { class: "quiet small", text: `${alike.length} of this kind on this photo: with Shift, A, W or D speaks of all of them.` }));
      card.append(el("div", { class: "words touch" }, ...[["right", "Agree, all"], ["wrong", "Wrong, all"], ["drawing", "Drawing, all"]].map(([word, text]) =>
        el("button", { type: "button", on: { click: (event) => this.clicked(event, () => this.judge(word, true)) } }, text))));
    }
    return card;
  }

  placeList(piece) {
    if (piece.findings.length < 2) return "";
    const list = el("ol", { class: "places", "aria-label": "Places on this piece" });
    for (const finding of piece.findings) {
      const judged = this.judged(finding);
      const word = judged ? JUDGED_WORDS[judged] : finding.by_hand ? "drawn by you" : finding.weight === "look" ? "please look" : finding.weight === "remark" ? "remark" : "";
      list.append(el("li", {}, el("button", {
        type: "button", class: judged || "", "data-focus": `place${finding.place}`, "aria-current": finding.place === this.place ? "true" : false,
        on: { click: (event) => this.clicked(event, () => this.pick(finding.place)) },
      }, sign(this.data.faults[finding.fault].path, 13), el("span", { text: `${finding.number} ${finding.label}` }), el("em", { text: finding.size }), el("small", { text: [finding.view, word].filter(Boolean).join(", ") }))));
    }
    return list;
  }

  whyCard(piece) {
    const box = el("div", { class: "why-grade" });
    if (piece.reasons.length) box.append(el("div", { class: "touch" }, el("h4", { text: "Why this grade" }), el("ul", {}, ...piece.reasons.map((text) => el("li", { text })))));
    if (piece.remedies.length) box.append(el("h4", { text: "To mend it" }), el("ul", {}, ...piece.remedies.map((text) => el("li", { text }))));
    if (piece.figures.length) box.append(el("ul", { class: "quiet" }, ...piece.figures.map((text) => el("li", { text }))));
    if (piece.cautions.length) box.append(el("ul", { class: "cautions", "aria-label": "Cautions" }, ...piece.cautions.map((text) => el("li", { text }))));
    return box.childNodes.length ? box : "";
  }

  more(piece, open) {
    const note = el("input", { type: "text", maxlength: 500, "aria-label": "Note on this piece", placeholder: "A note, for instance: nick in the lip", "data-focus": "note" });
    const send = () => {
      if (note.value.trim()) this.act("note", { text: note.value.trim() });
      note.value = "";
    };
    note.addEventListener("keydown", (event) => {
      if (event.key === "Enter") send();
    });
    return el("details", { class: "more", open },
      el("summary", { text: "More" }),
      el("ul", {}, ...piece.notes.map((text) => el("li", { text }))),
      el("div", { class: "row" }, note, el("button", { type: "button", on: { click: send } }, "Write down")),
      el("button", { type: "button", "data-focus": "is_pattern", on: { click: () => this.act("pattern", { yes: !piece.is_pattern }) } },
        piece.is_pattern ? "No longer the reference piece" : "Keep as the reference piece of its design"));
  }

  gradeBar(piece) {
    const row = this.queue.find((each) => each.code === piece.code);
    const decided = (row && this.decided(row)) || piece.decided;
    const busy = this.busy(piece.code);
    const bar = el("div", { class: "grades" });
    if (this.queue.length && !this.acts.length && this.queue.every((each) => each.decided)) {
      bar.append(el("div", { class: "notice" }, el("p", { text: "Every piece of this load has its grade." }),
        el("button", { type: "button", "data-focus": "go", on: { click: () => this.setTriggerValue("go", "load") } }, "See the load, print its lists")));
    }
    const by = el("p", { class: "proposal", "aria-live": "polite" });
    if (piece.proposed) {
      const how = piece.discard ? "do not sell" : piece.decor_only ? "decoration only" : piece.price !== null && piece.proposed === "second" ? `about ${piece.price}` : "";
      by.append(el("span", { text: "Proposed: " }), el("b", { text: GRADE_WORDS[piece.proposed] + (how ? `, ${how}` : "") }), busy ? el("i", { class: "busy", text: " working out …" }) : "");
    } else by.append(el("span", { text: "Nothing proposed yet." }));
    if (decided) by.append(el("span", { class: "mine", text: ` You: ${GRADE_WORDS[decided]}` }));
    bar.append(by);
    if (piece.reasons.length) bar.append(el("p", { class: "reason", text: piece.reasons[0] }));
    if (piece.reasons.length > 1) {
      bar.append(el("details", { class: "reasons", open: this.allReasons, on: { toggle: (event) => { this.allReasons = event.target.open; } } },
        el("summary", { text: `${piece.reasons.length - 1} more` }), el("ul", {}, ...piece.reasons.slice(1).map((text) => el("li", { text })))));
    }
    bar.append(el("div", { class: "words" }, ...GRADE_KEYS.map((grade) => this.button(grade, GRADE_WORDS[grade], { class: `grade ${grade}`, pressed: String(decided === grade) }))));
    if (piece.proposed) {
      const what = piece.proposed === "ungraded" ? "Agree: photograph again" : `Agree: ${GRADE_WORDS[piece.proposed]}`;
      bar.append(this.button("accept", what, { class: "accept" }));
    }
    return bar;
  }

  renderOver() {
    const over = this.part("over");
    if (this.stage.drawing && this.choosing) {
      over.hidden = false;
      over.replaceChildren(el("div", { class: "sheet", role: "dialog", "aria-label": "Which fault is it?" }, el("h3", { text: "Which fault is it?" }),
        el("div", { class: "faults" }, ...Object.entries(this.data.faults).map(([fault, each], index) =>
          el("button", { type: "button", "data-focus": `fault${index}`, on: { click: () => this.addMissed(fault) } }, sign(each.path), el("span", { text: each.label }), el("kbd", { text: String(index + 1) })))),
        el("button", { type: "button", class: "plain", on: { click: () => this.endMissed() } }, "Leave it")));
      return;
    }
    if (this.helping) {
      const groups = [["finding", "Places"], ["photo", "Photo"], ["piece", "Piece"], ["always", "Always"]];
      over.hidden = false;
      over.replaceChildren(el("div", { class: "sheet", role: "dialog", "aria-label": "Keys" }, el("h3", { text: "Keys" }),
        el("div", { class: "keys" }, ...groups.map(([place, title]) => el("div", {}, el("h4", { text: title }),
          el("dl", {}, ...this.data.keys.filter((key) => key.place === place).flatMap((key) => [
            el("dt", {}, ...key.keys.map((name) => el("kbd", { text: { ArrowRight: "→", ArrowLeft: "←", ArrowDown: "↓", ArrowUp: "↑" }[name] || (name.length === 1 ? name.toUpperCase() : name) }))),
            el("dd", { text: key.label })]))))),
        el("p", { class: "quiet", text: "Mouse and fingers: wheel or pinch brings the photo closer, drag moves it, a double click goes close or back. Click an outline to choose its place." }),
        el("button", { type: "button", "data-focus": "closehelp", on: { click: () => { this.helping = false; this.render(); } } }, el("span", { text: "Close" }), el("kbd", { text: "Esc" }))));
      return;
    }
    over.hidden = true;
    over.replaceChildren();
  }

  // The place and sound surface at the same scale, from the full photo as soon as it is there.
  drawLoupe() {
    const finding = this.finding;
    const there = this.root.querySelector("[data-role='there']");
    if (!finding || !there || !finding.loupe_px) return;
    const photo = this.piece.photos.find((each) => each.id === finding.photo);
    const again = () => {
      if (this.finding === finding || (this.finding && this.finding.place === finding.place)) this.drawLoupe();
    };
    const found = atHand(photo, true, again);
    if (!found) return;
    const [x, y, side] = finding.loupe_px;
    cut(there, found, [x, y, side], side, photo.px_per_mm, finding);
    const canvas = this.root.querySelector("[data-role='sound']");
    const note = this.root.querySelector("[data-role='soundnote']");
    if (finding.sound_px) cut(canvas, found, finding.sound_px, side, null, null);
    else {
      const pen = canvas.getContext("2d");
      pen.fillStyle = "#cfccc5";
      pen.fillRect(0, 0, canvas.width, canvas.height);
    }
    note.textContent = finding.sound_px ? "sound surface, same scale" : finding.sound_px === null ? "no free surface beside it" : "looking for sound surface …";
  }

  // Fetch what the next pieces show first, so that they appear without a wait.
  prefetch() {
    clearTimeout(this.ahead);
    this.ahead = setTimeout(() => {
      const piece = this.piece;
      if (!piece) return;
      for (const code of this.wanted().slice(1, 3).reverse()) {
        const next = this.pieces.get(code);
        if (!next || !next.photos.length) continue;
        const first = this.nextOpen(next, null);
        const photo = next.photos.find((each) => first && each.id === first.photo) || next.photos[0];
        previews.get(photo.screen);
        for (const each of next.photos) new Image().src = each.thumb;
      }
      for (const photo of piece.photos) previews.get(photo.screen);
    }, 60);
  }
}

function cut(canvas, found, [x, y, side], scaleSide, perMm, finding) {
  const pen = canvas.getContext("2d");
  const k = canvas.width / scaleSide;
  const s = found.scale;
  pen.fillStyle = "#cfccc5";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  // Sound surface may be a smaller square: it stands in the middle, at the same scale.
  const size = side * k;
  const left = (canvas.width - size) / 2;
  pen.imageSmoothingEnabled = k / s < 6;
  pen.imageSmoothingQuality = "high";
  pen.drawImage(found.bitmap, x * s, y * s, side * s, side * s, left, left, size, size);
  if (finding) {
    trace(pen, finding, x, y, k);
    pen.strokeStyle = "rgba(255,255,255,.9)";
    pen.lineWidth = 3.5;
    pen.stroke();
    pen.strokeStyle = "#14110d";
    pen.lineWidth = 1.4;
    pen.stroke();
  }
  if (perMm) {
    const mm = [...BAR_MM].reverse().find((each) => each * perMm * k <= canvas.width / 2);
    if (mm) {
      const length = mm * perMm * k;
      pen.fillStyle = "rgba(255,255,255,.85)";
      pen.fillRect(8, canvas.height - 34, length + 12, 28);
      pen.fillStyle = "#14110d";
      pen.fillRect(14, canvas.height - 13, length, 3);
      pen.font = "600 15px sans-serif";
      pen.fillText(`${mm} mm`, 14, canvas.height - 18);
    }
  }
}

// The outline of a large place; four corners about a small one, which a line would hide.
function trace(pen, finding, x, y, k) {
  const [bx, by, bw, bh] = finding.box_px;
  pen.beginPath();
  if (Math.max(bw, bh) * k > 140) {
    finding.outline_px.forEach(([px, py], i) => {
      const point = [(px + 0.5 - x) * k, (py + 0.5 - y) * k];
      if (i) pen.lineTo(...point);
      else pen.moveTo(...point);
    });
    pen.closePath();
    return;
  }
  const off = 10;
  const arm = 12;
  const [x0, y0] = [(bx - x) * k - off, (by - y) * k - off];
  const [x1, y1] = [(bx + bw - x) * k + off, (by + bh - y) * k + off];
  for (const [cx, cy, sx, sy] of [[x0, y0, 1, 1], [x1, y0, -1, 1], [x1, y1, -1, -1], [x0, y1, 1, -1]]) {
    pen.moveTo(cx + arm * sx, cy);
    pen.lineTo(cx, cy);
    pen.lineTo(cx, cy + arm * sy);
  }
}
