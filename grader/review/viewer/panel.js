// The right side of the bench: what was found, why, and the grade. It says; it decides nothing.

const GRADE_KEYS = ["first", "second", "refire"];
const GRADE_WORDS = { first: "First", second: "Second", refire: "Refire", ungraded: "Ungraded", "": "not looked at yet" };
const JUDGED_WORDS = { right: "agreed: a fault", wrong: "wrong: nothing there", drawing: "it is the drawing" };

class BenchPanel {
  renderRight() {
    const right = this.part("right");
    const piece = this.piece;
    if (!this.at) {
      this.part("over").hidden = true;
      right.replaceChildren();
      return;
    }
    if (!piece) {
      right.replaceChildren(el("p", { class: "quiet", text: `Fetching ${this.at} …${this.strokes.length ? " What you press is kept for it." : ""}` }));
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
      el("b", { text: finding.size }), finding.size.endsWith(" mm") ? el("small", { text: "at its longest" }) : null));
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
    card.append(el("p", { class: "state", text: [`${finding.sure} (${Math.round(100 * finding.certainty)} %)`, finding.area, finding.shift, finding.view, state].filter(Boolean).join(" · ") }));
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
    if (piece.reasons.length) box.append(el("div", { class: "touch" }, el("h3", { text: "Why this grade" }), el("ul", {}, ...piece.reasons.map((text) => el("li", { text })))));
    if (piece.remedies.length) box.append(el("h3", { text: "To mend it" }), el("ul", {}, ...piece.remedies.map((text) => el("li", { text }))));
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
      by.append(el("span", { text: "Proposed: " }), el("b", { text: GRADE_WORDS[piece.proposed] + (how ? `, ${how}` : "") }), busy ? el("i", { class: "busy", text: this.wishes.has(piece.code) ? " agreed as soon as it is worked out …" : " working out …" }) : "");
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
    note.setAttribute("aria-busy", String(finding.sound_px === undefined));
    note.textContent = finding.sound_px ? "sound surface, same scale" : finding.sound_px === null ? "no free surface beside it" : "looking for sound surface …";
  }
}
