// One photo at work: tools, picture and panels, with undo and redo of every edit.

import * as api from "./api.js";
import { h, notify, notifyProblem, renew } from "./dom.js";
import { heightsPanel, othersChoice } from "./heights.js";
import {
  cautionsPanel, checkPanel, concernsSaddle, correctionsPanel, keepPanel, refusalPanel, settingsPanel, verdictsPanel, widthsPanel,
} from "./panels.js";
import { byHandPanel } from "./byhand.js";
import { isDone, stageLabel } from "./tray.js";
import { Viewer } from "./viewer.js";

const TOOLS = [
  { name: "look", label: "Look and drag", title: "Move the photo; drag the midline’s ends" },
  { name: "edge", label: "Edge is here", title: "Click where the edge really runs; it is traced again through that point",
    prompt: "Click where the edge really runs. It is traced again through that point." },
  { name: "ends", label: "Both ends", title: "Click the front end of the seat, then its rear end, where the saddle was not found or another object was",
    prompt: "Click the front end of the seat (pommel), then its rear end (cantle)." },
  { name: "hide", label: "Hidden stretch", title: "Click both ends of a stretch of an edge that something covers",
    prompt: "Click where the hidden stretch of an edge begins." },
];

/** Undo histories by photo. */
const histories = new Map();

export class PhotoView {
  /** `desk` has removed(), changed(), photos() and added(id). */
  constructor(photo, desk) {
    this.photo = photo;
    this.desk = desk;
    this.history = histories.get(photo.id) ?? { past: [], next: [] };
    histories.set(photo.id, this.history);
    this.viewer = new Viewer(photo, {
      endsMoved: (ends, done) => this.change({ ends }, done),
      edgeShown: (hint) => this.change({ hints: [...this.photo.edits.hints, hint] }, true),
      stretchHidden: (stretch) => {
        notify("Nothing is measured along this stretch.");
        this.change({ hidden: [...this.photo.edits.hidden, stretch] }, true);
      },
      toolLeft: () => this.choose("look"),
    });
    this.side = h("div", { class: "side" });
    this.progress = h("p", { class: "progress", role: "status" });
    this.element = h("div", { class: "work" },
      h("h1", { class: "hidden" }, photo.name),
      h("div", { class: "stand" }, this.tools(), this.viewer.element, this.progress, this.key()), this.side);
    this.show();
  }

  tools() {
    const tool = ({ name, label, title }) => h("button", { type: "button", "data-tool": name, "aria-pressed": name === "look", title, onclick: () => this.choose(name) }, label);
    this.undoButton = h("button", { type: "button", id: "undo", title: "Undo (Ctrl Z)", onclick: () => this.step(-1) }, "Undo");
    this.redoButton = h("button", { type: "button", id: "redo", title: "Redo (Ctrl Y)", onclick: () => this.step(1) }, "Redo");
    this.partChoice = h("select", { "aria-label": "Which edge", hidden: true, onchange: (event) => { this.viewer.part = event.target.value; } },
      h("option", { value: "seat" }, "outer edge"), h("option", { value: "channel" }, "channel"));
    this.toolbar = h("div", { class: "tools", role: "toolbar", "aria-label": "Tools" }, TOOLS.map(tool), this.partChoice, this.undoButton, this.redoButton);
    return this.toolbar;
  }

  key() {
    const entry = (of, text) => h("li", {}, h("i", { class: `swatch ${of}`, "aria-hidden": "true" }), text);
    return h("ul", { class: "key", "aria-label": "Key to the lines" }, entry("edge", "traced edge"), entry("named", "named width"),
      entry("midline", "midline and its ends"), entry("station", "station"), entry("doubt", "possible other edge"), entry("card", "card"));
  }

  choose(name) {
    for (const button of this.toolbar.querySelectorAll("[data-tool]")) button.setAttribute("aria-pressed", button.dataset.tool === name);
    this.viewer.setTool(name);
    notify(TOOLS.find((tool) => tool.name === name).prompt ?? "");
  }

  /** Applies a change of the edits. While one is being measured only the newest waits. */
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
    this.pending = { edits, done, failed: () => done && past.pop() };
    return this.measure();
  }

  /** Whether the photo is being measured; also for screen readers. */
  get busy() {
    return this.element.ariaBusy === "true";
  }

  /** Measures the pending edits; concurrent callers share one run. */
  measure() {
    this.running ??= this.measurePending().finally(() => { this.running = null; });
    return this.running;
  }

  async measurePending() {
    this.element.ariaBusy = "true";
    const slow = setTimeout(() => { this.progress.textContent = this.photo.edits.with.length ? "measuring the photos together …" : "measuring …"; }, 400);
    while (this.pending) {
      const { edits, done, failed } = this.pending;
      this.pending = null;
      const began = performance.now();
      try {
        const photo = await api.edit(this.photo.id, edits);
        this.element.dataset.tookMs = Math.round(performance.now() - began);
        if (this.pending) photo.edits = this.photo.edits;
        this.photo = photo;
        this.show(!done);
      } catch (problem) {
        notifyProblem(problem);
        this.photo = await api.photo(this.photo.id).catch(() => this.photo);
        failed();
        this.show();
      }
    }
    clearTimeout(slow);
    this.progress.textContent = "";
    this.element.ariaBusy = "false";
    this.desk.changed();
  }

  step(by) {
    const { past, next } = this.history;
    const [from, to] = by < 0 ? [past, next] : [next, past];
    if (!from.length) return;
    const edits = from.pop();
    to.push(this.photo.edits);
    this.photo.edits = edits;
    this.pending = { edits, done: true, failed: () => { to.pop(); from.push(edits); } };
    this.measure().then(() => notify(by < 0 ? "Undone." : "Redone."));
  }

  /** Shows the photo; `dragging` redraws only what moves. */
  show(dragging) {
    const { photo } = this;
    const { findings } = photo;
    this.viewer.show(photo);
    this.viewer.restoreFocus();
    this.undoButton.disabled = !this.history.past.length;
    this.redoButton.disabled = !this.history.next.length;
    this.partChoice.hidden = findings?.view !== "underside";
    this.progress.textContent = isDone(photo) ? "" : `${stageLabel(photo.stage)} …`;
    if (dragging && findings) this.side.querySelector("#widths")?.replaceWith(widthsPanel(findings));
    else this.showPanels();
  }

  showPanels() {
    const { photo } = this;
    const { findings } = photo;
    const opened = [...this.side.querySelectorAll("details[open]")].map((d) => d.querySelector("summary").textContent);
    const changed = (part) => this.change(part, true);
    // A readable photo that was refused may be measured with the user's help.
    const refused = photo.refusal && photo.size_px;
    const alone = photo.edits.with.length > 0 && (() => changed({ with: [] }));
    // Without a card no edit of the edges helps.
    const traceable = findings || (refused && (alone || concernsSaddle(photo.refusal)));
    this.element.classList.toggle("unread", Boolean(photo.refusal && !photo.size_px));
    renew(this.side, [
      photo.refusal && refusalPanel(photo, refused && (() => this.choose("ends")), alone),
      refused && !alone && checkPanel(photo.id),
      findings && widthsPanel(findings),
      findings && cautionsPanel(findings),
      traceable && heightsPanel(photo, changed, this.others()),
      traceable && correctionsPanel(photo, changed),
      findings && this.verdicts(),
      findings && byHandPanel(photo.id, () => document.getElementById("verdicts")?.parentElement.replaceWith(this.verdicts())),
      (findings || refused) && settingsPanel(photo, changed),
      findings && keepPanel(photo, { changed, keep: (replace) => this.keep(replace), remove: () => this.remove() }),
      photo.refusal && h("p", { class: "buttons" }, h("button", { type: "button", id: "off", onclick: () => this.remove() }, "Remove from the desk")),
    ].filter(Boolean));
    for (const details of this.side.querySelectorAll("details")) {
      if (opened.includes(details.querySelector("summary").textContent)) details.open = true;
    }
  }

  /** The choice of other photos to measure together with this one. */
  others() {
    const add = async (file) => {
      try {
        const { id } = await api.upload(file);
        await this.desk.added(id);
        this.change({ with: [...this.photo.edits.with, id] }, true);
      } catch (problem) {
        notifyProblem(problem, file.name);
      }
    };
    return othersChoice(this.photo, this.desk.photos(), (part) => this.change(part, true), add);
  }

  /** Updates that choice after photos were added or removed. */
  offerOthers() {
    const place = this.side.querySelector("#with-place");
    if (place && !this.busy) renew(place, [this.others()]);
  }

  verdicts() {
    const place = h("div", {});
    api.verdicts(this.photo.id).then(
      (verdicts) => place.replaceChildren(verdictsPanel(verdicts)),
      (problem) => place.replaceChildren(h("p", {}, problem.text)));
    return place;
  }

  async keep(replace) {
    await this.measure();
    try {
      const { sheet } = await api.keep(this.photo.id, replace);
      this.photo.kept = sheet;
      document.getElementById("kept").textContent = `On the shelf as ${sheet}`;
      notify("Saved on the shelf.");
      this.desk.changed();
    } catch (problem) {
      const place = document.getElementById("kept");
      place.replaceChildren(`${problem.text}: ${problem.hint}. `);
      if (problem.status === 412) place.append(h("button", { type: "button", id: "replace", onclick: () => this.keep(true) }, "Replace it"));
    }
  }

  async remove() {
    try {
      await api.remove(this.photo.id);
    } catch (problem) {
      return notifyProblem(problem);
    }
    histories.delete(this.photo.id);
    api.releasePictures(this.photo.id);
    this.desk.removed();
  }
}
