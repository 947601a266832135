// The tray: the photos on the desk, each with how far it has come, and the way to add more.

import * as api from "./api.js";
import { h, say } from "./dom.js";
import { papers, written } from "./units.js";

const STAGES = ["waiting", "reading", "card", "camera", "tracing", "measured"];
const WORDS = {
  waiting: "waits for its turn",
  reading: "reading the photo",
  card: "looking for the card",
  camera: "finding the camera’s place",
  tracing: "tracing the edges",
  measured: "measured",
  refused: "cannot be measured",
};
export const stageWords = (stage) => WORDS[stage] ?? stage;
export const isDone = (photo) => photo.stage === "measured" || photo.stage === "refused";

/** Sends files one after the other: the desk measures one at a time anyway, and a slow disk is not asked for all at once. */
export async function send(files, after) {
  for (const file of files) {
    try {
      const { id } = await api.upload(file);
      await after(id);
    } catch (trouble) {
      say(`${file.name}: ${trouble.text}. ${trouble.hint ?? ""}`);
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

/** What stands on an empty table. */
export function welcome(after) {
  const step = (title, ...text) => h("li", {}, h("strong", {}, title), " ", text);
  const paper = (file, size) => h("a", { href: `/api/${file}?paper=${size}` }, papers[size]);
  return h("section", { class: "welcome", "aria-labelledby": "welcome" },
    h("h1", { id: "welcome" }, "Lay a photo on the desk"),
    h("p", { class: "lead" }, "A photo of a saddle with the printed card beside it gives its widths in millimetres, each with how sure it is."),
    h("div", { class: "drop", "data-drop": true },
      h("p", {}, "Drop photos here, or"),
      chooser(after, "Choose photos", "choose-first"),
      h("p", { class: "fine" }, "JPEG, HEIC, PNG, WebP or TIFF, as the phone made them. They stay on this machine.")),
    h("p", {}, "No photo at hand? ",
      h("button", {
        type: "button", id: "sample",
        onclick: async () => {
          try { await after((await api.sample()).id); } catch (trouble) { say(`${trouble.text}. ${trouble.hint}`); }
        },
      }, "Try a sample"), " of an invented saddle."),
    h("ol", { class: "steps" },
      step("Print the card", "at 100 % and check that its bar is 150 mm (5.9 in) long: ", paper("card.pdf", "a4"), " or ", paper("card.pdf", "letter"),
        ". For clients who send photos there is a guide: ", paper("guide.pdf", "a4"), " or ", paper("guide.pdf", "letter"), "."),
      step("Lay it level", "beside the saddle, about as high as the saddle’s edges."),
      step("Photograph from straight above,", "from 1.5 m (5 ft) or more, with the whole saddle and the whole card in the picture."),
      step("Measure the heights", "of the saddle’s edges over the card at five places, for the table here; or take a second photo from another side.")));
}

/** A photo that is gone, or a desk that is, shows no picture. */
function thumbnail(id) {
  const image = h("img", { alt: "" });
  api.picture(id, 240).then((address) => { image.src = address; }, () => {});
  return image;
}

/** The row of photos. */
export function tray(photos, current, after) {
  const card = (photo) => {
    const at = STAGES.indexOf(photo.stage);
    const width = photo.widths?.find((w) => w.name === "seat.widest");
    const state = photo.stage === "measured" && width ? written(width.shown).first : stageWords(photo.stage);
    return h("li", {},
      h("a", {
        href: `#table/${photo.id}`, class: `photo ${photo.stage}`, "aria-current": photo.id === current ? "true" : null,
      },
        isDone(photo) && photo.stage === "measured"
          ? thumbnail(photo.id)
          : h("span", { class: "blank", "aria-hidden": "true" }, photo.stage === "refused" ? "!" : "…"),
        h("span", { class: "of" }, h("strong", {}, photo.name), h("small", {}, state),
          !isDone(photo) && h("progress", { max: STAGES.length - 1, value: at, "aria-label": stageWords(photo.stage) }),
          photo.with.length > 0 && h("small", {}, photo.with.length === 1 ? "with another photo" : `with ${photo.with.length} others`),
          photo.kept && h("small", {}, "on the shelf"))));
  };
  return h("section", { class: "tray", "aria-label": "Photos on the desk", "data-drop": true },
    h("ul", {}, photos.map(card), h("li", {}, chooser(after, "Add photos", "choose-more"))));
}
