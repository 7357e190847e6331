// The rest of the bench that is seen: list of pieces, photo, tools, views, and what lies over them.

class BenchFrame extends BenchPanel {
  // --- pictures -------------------------------------------------------------------------------

  render() {
    if (this.press.holds()) return;
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
}
