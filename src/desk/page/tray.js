// The tray: the photos on the desk with their progress, and the buttons to add more.

import * as api from "./api.js";
import { h, notifyProblem } from "./dom.js";
import { papers, written } from "./units.js";

const STAGES = ["waiting", "reading", "card", "camera", "tracing", "measured"];
const LABELS = {
  waiting: "waiting",
  reading: "reading the photo",
  card: "looking for the card",
  camera: "working out where the camera was",
  tracing: "tracing the edges",
  measured: "measured",
  refused: "cannot be measured",
};
export const stageLabel = (stage) => LABELS[stage] ?? stage;
export const isDone = (photo) => photo.stage === "measured" || photo.stage === "refused";

/** Uploads files one after the other: the desk measures one at a time, and a slow disk is read once. */
export async function send(files, after) {
  for (const file of files) {
    try {
      const { id } = await api.upload(file);
      await after(id);
    } catch (problem) {
      notifyProblem(problem, file.name);
    }
  }
}

function chooser(after, label, id) {
  const input = h("input", {
    type: "file", id, multiple: true, class: "file",
    accept: "image/*,.heic,.heif,.tif,.tiff",
    onchange: () => send([...input.files], after).then(() => { input.value = ""; }),
  });
  return h("label", { class: "button primary", for: id }, label, input);
}

/** The start page of an empty desk. */
export function welcome(after) {
  const step = (title, ...text) => h("li", {}, h("strong", {}, title), " ", text);
  const paper = (file, size) => h("a", { href: `/api/${file}?paper=${size}` }, papers[size]);
  const addSample = async () => {
    try { await after((await api.sample()).id); } catch (problem) { notifyProblem(problem); }
  };
  return h("section", { class: "welcome", "aria-labelledby": "welcome" },
    h("h1", { id: "welcome" }, "Measure a saddle from its photo"),
    h("p", { class: "lead" }, "Photograph the saddle with the printed card beside it. The desk shows its widths in millimetres, and how sure each one is."),
    h("div", { class: "drop", "data-drop": true },
      h("p", {}, "Drop photos here, or"),
      chooser(after, "Choose photos", "choose-first"),
      h("p", { class: "fine" }, "JPEG, HEIC, PNG, WebP or TIFF, straight from the phone. They stay on this machine.")),
    h("p", {}, "No photo yet? ",
      h("button", { type: "button", id: "sample", onclick: addSample }, "Try a sample"), " of an invented saddle."),
    h("ol", { class: "steps" },
      step("Print the card", "at 100 %: ", paper("card.pdf", "a4"), " or ", paper("card.pdf", "letter"),
        ". Check that its bar is 150 mm (5.9 in) long. For clients who send photos there is a guide: ", paper("guide.pdf", "a4"), " or ", paper("guide.pdf", "letter"), "."),
      step("Lay it level", "beside the saddle, about as high as the saddle’s edges."),
      step("Take three photos", "without moving saddle or card: from above, from the rider’s left, from the rider’s right. Stand 1.5 m (5 ft) away or more, with the whole saddle and the whole card in each."),
      step("Open them here", "and tick them as photos of one saddle. With a single photo, measure the heights of the edges with a ruler.")));
}

/** A removed photo, or a desk that was closed, shows no picture. */
function thumbnail(id) {
  const image = h("img", { alt: "" });
  api.picture(id, 240).then((url) => { image.src = url; }, () => {});
  return image;
}

/** The row of photos. */
export function tray(photos, current, after) {
  const card = (photo) => {
    const done = STAGES.indexOf(photo.stage);
    const width = photo.widths?.find((w) => w.name === "seat.widest");
    const state = photo.stage === "measured" && width ? written(width.shown).first : stageLabel(photo.stage);
    return h("li", {},
      h("a", {
        href: `#photos/${photo.id}`, class: `photo ${photo.stage}`, "aria-current": photo.id === current ? "true" : null,
      },
        photo.stage === "measured"
          ? thumbnail(photo.id)
          : h("span", { class: "blank", "aria-hidden": "true" }, photo.stage === "refused" ? "!" : "…"),
        h("span", { class: "of" }, h("strong", {}, photo.name), h("small", {}, state),
          !isDone(photo) && h("progress", { max: STAGES.length - 1, value: done, "aria-label": stageLabel(photo.stage) }),
          photo.with.length > 0 && h("small", {}, photo.with.length === 1 ? "with another photo" : `with ${photo.with.length} others`),
          photo.kept && h("small", {}, "on the shelf"))));
  };
  return h("section", { class: "tray", "aria-label": "Photos on the desk", "data-drop": true },
    h("ul", {}, photos.map(card), h("li", {}, chooser(after, "Add photos", "choose-more"))));
}
