// The bench: acts at once on every key, sends what was said to the record, and shows what the
// record answers. Nothing is decided here: grades are proposed by the rules on the server.

const KEPT_PIECES = 12;
const ASK_AGAIN_MS = [250, 500, 1000, 2000, 4000];
const LOOKING_MS = 4000;
const UNKEPT_MS = 6000;
// Long enough to read twice: a word in passing needs no key to be put away.
const SAID_MS = 9000;
// Acts that need no piece on the bench.
const NEED_NO_PIECE = ["help", "undo", "next_piece", "previous_piece"];

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

class Bench extends BenchFrame {
  constructor(root) {
    super();
    this.root = root;
    this.part = (role) => root.querySelector(`[data-role="${role}"]`);
    this.load = Math.random().toString(36).slice(2, 10);
    this.acts = [];
    this.number = 0;
    // Agreements that wait until the rules have answered, by piece.
    this.wishes = new Map();
    // Keys for the piece on the bench that wait until it is there.
    this.strokes = [];
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
    this.press = new Press(root, () => this.render());
    this.onKey = (event) => this.key(event);
    document.addEventListener("keydown", this.onKey);
    this.onLeave = (event) => {
      if (this.acts.length || this.wishes.size || this.strokes.length) event.preventDefault();
    };
    window.addEventListener("beforeunload", this.onLeave);
    this.onResize = () => this.fillWindow();
    window.addEventListener("resize", this.onResize);
  }

  close() {
    document.removeEventListener("keydown", this.onKey);
    window.removeEventListener("beforeunload", this.onLeave);
    window.removeEventListener("resize", this.onResize);
    for (const timer of [this.waiting, this.reminder, this.ahead, this.hushed]) clearTimeout(timer);
    this.stage.close();
    this.press.close();
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
    if (data.missing.includes(this.at)) this.strokes = [];
    this.settle();
    this.play();
    this.render();
    this.fillWindow();
    this.await();
  }

  // The bench ends where the window does, whatever stands above it on the page.
  fillWindow() {
    const work = this.part("work");
    if (work.hidden) return;
    let above = work.getBoundingClientRect().top;
    for (let node = this.root.host || work; node; node = node.parentElement) above += node.scrollTop;
    work.style.setProperty("--above", `${Math.round(above)}px`);
  }

  keep(piece) {
    this.pieces.delete(piece.code);
    this.pieces.set(piece.code, piece);
    for (const old of this.pieces.keys()) {
      if (this.pieces.size <= KEPT_PIECES) break;
      if (old !== this.at && !this.wishes.has(old)) this.pieces.delete(old);
    }
  }

  get piece() {
    return this.pieces.get(this.at) || null;
  }

  // Agreements that waited until the rules had answered the judgements before them. Each is of its
  // own piece, wherever the bench has gone meanwhile.
  settle() {
    for (const [code, wish] of this.wishes) {
      const piece = this.pieces.get(code);
      if (!piece || this.busy(code)) continue;
      this.wishes.delete(code);
      const now = `${GRADE_WORDS[piece.proposed]}.`;
      if (piece.proposed && piece.proposed === wish.shown) this.grade(piece.proposed, piece);
      else if (code === this.at) this.say(`Now proposed: ${now} Press Enter again to agree.`);
      else this.say(`${code} is not agreed with: now proposed: ${now} It comes again.`);
    }
  }

  // Keys that were pressed before their piece was there, in their order.
  play() {
    while (this.strokes.length && this.piece) this.answer(this.strokes.shift());
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

  act(what, fields = {}, piece = this.piece) {
    this.acts.push({ number: ++this.number, do: what, code: piece ? piece.code : this.at, seen: piece ? piece.state : null, ...fields });
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
    // A key is for the piece that was on the bench when it was pressed, never for the next one.
    this.strokes = this.strokes.filter((stroke) => stroke.code === code);
    this.asked = 0;
    this.place = null;
    this.photo = null;
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
    if (this.strokes.length && code !== this.at) this.say(`${this.at} was not there yet: the keys pressed for it are not used.`);
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

  grade(grade, piece = this.piece) {
    if (!piece) return;
    this.wishes.delete(piece.code);
    this.act("grade", { grade }, piece);
    this.say(`${piece.code}: ${GRADE_WORDS[grade]}. U takes it back.`);
    const next = piece.code === this.at && this.nextUndecided(piece.code);
    if (next) {
      this.go(next);
      if (!this.piece) this.sync();
    }
    this.render();
  }

  // Agree with the grade that was shown when the key was pressed.
  accept(shown) {
    const piece = this.piece;
    if (!piece) return;
    if (!piece.proposed) this.say("Nothing is proposed yet: its photos wait for their look.");
    else {
      this.wishes.set(piece.code, { shown, after: this.number });
      this.settle();
      this.render();
    }
  }

  // What was said last may be an agreement that still waits: it is let go, and nothing else.
  takeBack() {
    const last = [...this.wishes].find(([, wish]) => wish.after === this.number);
    if (!last) {
      this.act("undo");
      return;
    }
    this.wishes.delete(last[0]);
    if (last[0] !== this.at) this.move(last[0]);
    this.say(`${last[0]}: not agreed with.`);
    this.render();
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
    if (event.ctrlKey && event.key.toLowerCase() !== "z") return;
    const row = this.queue.find((each) => each.code === this.at);
    const stroke = {
      code: this.at, key: event.ctrlKey ? "u" : event.key, all: event.shiftKey, repeat: event.repeat,
      shown: this.piece ? this.piece.proposed : row ? row.proposed : "",
    };
    if (this.mustWait(stroke)) {
      this.strokes.push(stroke);
      this.renderRight();
      event.preventDefault();
    } else if (this.answer(stroke)) event.preventDefault();
  }

  keyOf(stroke) {
    return this.keys.get(stroke.key.length === 1 ? stroke.key.toLowerCase() : stroke.key);
  }

  // A key waits for its piece, and for the keys that were pressed before it.
  mustWait(stroke) {
    const key = this.keyOf(stroke);
    if (!this.at || this.piece || stroke.repeat || (key && key.act === "help")) return false;
    if (this.strokes.length) return Boolean(key) || /^\d$/.test(stroke.key);
    return Boolean(key) && !NEED_NO_PIECE.includes(key.act);
  }

  // Do what a key says; false where it says nothing here.
  answer(stroke) {
    if (this.stage.drawing && this.drawKey(stroke)) return true;
    if (stroke.key === "Escape" && !this.part("over").hidden) {
      this.helping = false;
      this.render();
      return false;
    }
    const key = this.keyOf(stroke);
    if (!key || (stroke.repeat && !["next_finding", "previous_finding", "closer", "farther"].includes(key.act))) return false;
    this.run(key.act, stroke.all, stroke.shown);
    return true;
  }

  drawKey(stroke) {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (stroke.key === "Escape") this.endMissed();
    else if (this.choosing) {
      const fault = Object.keys(this.data.faults)[Number(stroke.key) - 1];
      if (fault) this.addMissed(fault);
      else return stroke.key !== "Tab";
    } else if (moves[stroke.key]) this.stage.nudge(...moves[stroke.key]);
    else if (stroke.key === "+" || stroke.key === "=") this.stage.nudge(0, 0, 1.2);
    else if (stroke.key === "-") this.stage.nudge(0, 0, 1 / 1.2);
    else if (stroke.key === "Enter") this.chooseFault();
    else return stroke.key !== "Tab";
    return true;
  }

  run(act, all = false, shown = this.piece ? this.piece.proposed : "") {
    if (act === "help") {
      this.helping = !this.helping;
      this.render();
    } else if (act === "undo") this.takeBack();
    else if (!this.at) return;
    else if (act === "next_finding") this.nextFinding(1);
    else if (act === "previous_finding") this.nextFinding(-1);
    else if (act === "right" || act === "wrong" || act === "drawing") this.judge(act, all);
    else if (act === "missed") this.startMissed();
    else if (act === "accept") this.accept(shown);
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
