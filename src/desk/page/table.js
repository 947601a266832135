// The table: one photo at work, with undo and redo of everything that was said of it.

import * as api from "./api.js";
import { h, renew, say } from "./dom.js";
import { Easel } from "./easel.js";
import { cautionsPanel, correctionsPanel, judgedPanel, keepPanel, ofTheSaddle, refusalPanel, settingsPanel, verdictsPanel, widthsPanel } from "./findings.js";
import { liftPanel, othersChoice } from "./lift.js";
import { stageWords, isDone } from "./tray.js";

const histories = new Map();

export class Table {
  /** `tell` has gone(), when the photo was taken off, changed(), when its widths are others, photos(), all on the desk, and
      added(id), when one more was laid on it. */
  constructor(photo, tell) {
    this.photo = photo;
    this.tell = tell;
    this.history = histories.get(photo.id) ?? { past: [], next: [] };
    histories.set(photo.id, this.history);
    this.easel = new Easel(photo, {
      ended: (ends, done) => this.change({ ends }, done),
      pointed: (hint) => this.change({ hints: [...this.photo.edits.hints, hint] }, true),
      struck: (stretch) => {
        say("Struck out: nothing is measured along it.");
        this.change({ hidden: [...this.photo.edits.hidden, stretch] }, true);
      },
      said: say,
      left: () => this.choose("look"),
    });
    this.side = h("div", { class: "side" });
    this.progress = h("p", { class: "progress", role: "status" });
    this.element = h("div", { class: "table" },
      h("h1", { class: "hidden" }, photo.name),
      h("div", { class: "stand" }, this.tools(), this.easel.element, this.progress, this.key()), this.side);
    this.show();
  }

  tools() {
    const tool = (name, label, title) => h("button", { type: "button", "data-tool": name, "aria-pressed": name === "look", title, onclick: () => this.choose(name) }, label);
    this.undoButton = h("button", { type: "button", id: "undo", title: "Undo (Ctrl Z)", onclick: () => this.step(-1) }, "Undo");
    this.redoButton = h("button", { type: "button", id: "redo", title: "Redo (Ctrl Y)", onclick: () => this.step(1) }, "Redo");
    this.partChoice = h("select", { "aria-label": "Which edge", hidden: true, onchange: (event) => { this.easel.part = event.target.value; } },
      h("option", { value: "seat" }, "outer edge"), h("option", { value: "channel" }, "channel"));
    this.toolbar = h("div", { class: "tools", role: "toolbar", "aria-label": "Tools" },
      tool("look", "Look and drag", "Move the photo; drag the midline’s ends"),
      tool("edge", "Edge runs here", "Click where the edge really is: it is traced anew through there"),
      tool("ends", "Both ends", "Click the front end of the seat form, then its rear end: where no saddle was found, or another one"),
      tool("hide", "Hidden stretch", "Click both ends of a stretch of an edge that something covers"),
      this.partChoice, this.undoButton, this.redoButton);
    return this.toolbar;
  }

  key() {
    const entry = (of, text) => h("li", {}, h("i", { class: `swatch ${of}`, "aria-hidden": "true" }), text);
    return h("ul", { class: "key", "aria-label": "What the lines mean" }, entry("edge", "traced edge"), entry("named", "named width"),
      entry("midline", "midline, with its ends"), entry("station", "station"), entry("doubt", "may be the edge"), entry("card", "card"));
  }

  choose(name) {
    for (const button of this.toolbar.querySelectorAll("[data-tool]")) button.setAttribute("aria-pressed", button.dataset.tool === name);
    this.easel.setTool(name);
    if (name === "look") say("");
    if (name === "edge") say("Click where the edge really runs. The edge is traced anew through that point.");
    if (name === "ends") say("Click the front end of the seat form (pommel), then its rear end (cantle).");
    if (name === "hide") say("Click where the hidden stretch of an edge begins.");
  }

  /** One change after the other: while one is computed only the newest waits. */
  change(part, done) {
    const edits = { ...this.photo.edits, ...part };
    const { past, next } = this.history;
    if (done) {
      past.push(this.settled ?? this.photo.edits);
      next.length = 0;
      this.settled = null;
    } else {
      this.settled ??= this.photo.edits;
    }
    this.photo.edits = edits;
    this.wanted = { edits, done, failed: () => done && past.pop() };
    return this.compute();
  }

  /** Whether widths are being computed anew; told to screen readers as well. */
  get busy() {
    return this.element.ariaBusy === "true";
  }

  /** Computes what is wanted; whoever asks meanwhile waits for the same. */
  compute() {
    this.running ??= this.computeAll().finally(() => { this.running = null; });
    return this.running;
  }

  async computeAll() {
    this.element.ariaBusy = "true";
    const slow = setTimeout(() => { this.progress.textContent = this.photo.edits.with.length ? "measuring the photos together …" : "measuring …"; }, 400);
    while (this.wanted) {
      const { edits, done, failed } = this.wanted;
      this.wanted = null;
      const began = performance.now();
      try {
        const photo = await api.edit(this.photo.id, edits);
        this.took = performance.now() - began;
        this.element.dataset.tookMs = Math.round(this.took);
        if (this.wanted) photo.edits = this.photo.edits;
        this.photo = photo;
        this.show(!done);
      } catch (trouble) {
        say(`${trouble.text}. ${trouble.hint}`);
        this.photo = await api.photo(this.photo.id).catch(() => this.photo);
        failed();
        this.show();
      }
    }
    clearTimeout(slow);
    this.progress.textContent = "";
    this.element.ariaBusy = "false";
    this.tell.changed();
  }

  step(by) {
    const { past, next } = this.history;
    const [from, to] = by < 0 ? [past, next] : [next, past];
    if (!from.length) return;
    const edits = from.pop();
    to.push(this.photo.edits);
    this.photo.edits = edits;
    this.wanted = { edits, done: true, failed: () => { to.pop(); from.push(edits); } };
    this.compute().then(() => say(by < 0 ? "Taken back." : "Done again."));
  }

  /** `light` while something is dragged: only what moves is drawn anew. */
  show(light) {
    const { photo } = this;
    const { findings } = photo;
    this.easel.show(photo);
    this.easel.focusAgain();
    this.undoButton.disabled = !this.history.past.length;
    this.redoButton.disabled = !this.history.next.length;
    this.partChoice.hidden = findings?.view !== "underside";
    this.progress.textContent = isDone(photo) ? "" : `${stageWords(photo.stage)} …`;
    if (light && findings) {
      this.side.querySelector("#widths")?.replaceWith(widthsPanel(findings));
      return;
    }
    const opened = [...this.side.querySelectorAll("details[open]")].map((d) => d.querySelector("summary").textContent);
    const changed = (part) => this.change(part, true);
    // A refused photo that could be read may yet be measured with what is said of it.
    const unsure = photo.refusal && photo.size_px;
    const alone = photo.edits.with.length > 0 && (() => changed({ with: [] }));
    // Where no card was found nothing that is said of the edges helps.
    const traceable = findings || (unsure && (alone || ofTheSaddle(photo.refusal)));
    this.element.classList.toggle("unread", Boolean(photo.refusal && !photo.size_px));
    renew(this.side, [
      photo.refusal && refusalPanel(photo, unsure && (() => this.choose("ends")), alone),
      unsure && !alone && judgedPanel(photo.id),
      findings && widthsPanel(findings),
      findings && cautionsPanel(findings),
      traceable && liftPanel(photo, changed, this.others()),
      traceable && correctionsPanel(photo, changed),
      this.verdictsPlace(Boolean(findings)),
      (findings || unsure) && settingsPanel(photo, changed),
      findings && keepPanel(photo, { changed, keep: (replace) => this.keep(replace), remove: () => this.remove() }),
      photo.refusal && h("p", { class: "buttons" }, h("button", { type: "button", id: "off", onclick: () => this.remove() }, "Take off the desk")),
    ].filter(Boolean));
    for (const details of this.side.querySelectorAll("details")) {
      if (opened.includes(details.querySelector("summary").textContent)) details.open = true;
    }
  }

  /** The other photos that may be measured together with this one. */
  others() {
    const add = async (file) => {
      try {
        const { id } = await api.upload(file);
        await this.tell.added(id);
        this.change({ with: [...this.photo.edits.with, id] }, true);
      } catch (trouble) {
        say(`${file.name}: ${trouble.text}. ${trouble.hint ?? ""}`);
      }
    };
    return othersChoice(this.photo, this.tell.photos(), (part) => this.change(part, true), add);
  }

  /** There are others on the desk now. */
  offer() {
    const place = this.side.querySelector("#with-place");
    if (place && !this.busy) renew(place, [this.others()]);
  }

  verdictsPlace(measured) {
    if (!measured) return null;
    const place = h("div", {});
    api.verdicts(this.photo.id).then((told) => place.replaceChildren(verdictsPanel(told)), (trouble) => place.replaceChildren(h("p", {}, trouble.text)));
    return place;
  }

  async keep(replace) {
    await this.compute();
    try {
      const { sheet } = await api.keep(this.photo.id, replace);
      this.photo.kept = sheet;
      document.getElementById("kept").textContent = `On the shelf as ${sheet}`;
      say("Kept on the shelf.");
      this.tell.changed();
    } catch (trouble) {
      const place = document.getElementById("kept");
      place.replaceChildren(`${trouble.text}: ${trouble.hint}. `);
      if (trouble.status === 412) place.append(h("button", { type: "button", id: "replace", onclick: () => this.keep(true) }, "Replace it"));
    }
  }

  async remove() {
    try {
      await api.remove(this.photo.id);
    } catch (trouble) {
      return say(`${trouble.text}: ${trouble.hint}.`);
    }
    histories.delete(this.photo.id);
    api.forgetPictures(this.photo.id);
    this.tell.gone();
  }
}
